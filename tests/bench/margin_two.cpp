// Two wounds in one loop: is it said, and what was outlined? And how often is it said of a single wound.
#include "bench/margin_koi.h"
#include "bench/open_set.h"
#include "uroko/margin/margin.h"

using namespace uroko;
using namespace uroko::eval;

namespace {

bool told(const margin::Margin& m) {
  return std::any_of(m.warnings.begin(), m.warnings.end(), [](const Warning& w) { return w.code == "more-than-one"; });
}

struct Row {
  int photos = 0, refused = 0, said = 0, one = 0, joined = 0;
  void add(const Case& c, const ImageOutline& loop) {
    ++photos;
    const auto found = margin::find_in_loop(c.bgr, loop);
    if (!found) {
      ++refused;
      return;
    }
    said += told(*found);
    // Of the found area: more than a fifth of either wound taken in means both.
    const cv::Mat mask = mask_of(found->outline, c.bgr.size());
    cv::Mat labels;
    const int n = cv::connectedComponents(c.truth, labels, 8);
    int taken = 0;
    for (int k = 1; k < n; ++k) taken += cv::countNonZero((labels == k) & mask) > 0.2 * cv::countNonZero(labels == k);
    (taken > 1 ? joined : one) += 1;
  }
  void print(const char* name) const {
    std::printf("| %s | %d | %d | %d | %d | %d |\n", name, photos, said, one, joined, refused);
    std::fflush(stdout);
  }
};

}  // namespace

int main(int argc, char** argv) {
  const int first = argc > 1 ? std::atoi(argv[1]) : 0, scenes = argc > 2 ? std::atoi(argv[2]) : 4;
  std::printf("| one loop | photos | said | one wound taken | both taken | refused |\n| --- | --- | --- | --- | --- | --- |\n");
  Row pairs, singles[2], feet;
  for (const auto& stratum : koi_strata()) {
    for (int n = first; n < first + scenes; ++n) {
      const auto two = koi_pair(stratum, n);
      pairs.add(two, hull_loop(two, 0.2));
      const auto c = koi_case(stratum, n);
      singles[0].add(c, rough_loop(c, 0.25, 17 + n));
      singles[1].add(c, rough_loop(c, 0.45, 18 + n));
    }
  }
  pairs.print("two wounds, rendered koi of ten strata");
  singles[0].print("a single wound, the same scenes, loop 25 % outside");
  singles[1].print("the same, 45 % outside");
  for (const auto& c : open_set("fuseg_foot_ulcer")) feet.add(c, rough_loop(c, 0.25, 17));
  if (feet.photos) feet.print("foot ulcers, 25 % outside");
}
