// How loose a loop may be: the margin's error in its radius, the common shift that the margin states, and how often its interval holds the area.
#include "bench/margin_koi.h"
#include "bench/open_set.h"
#include "uroko/margin/margin.h"

using namespace uroko;
using namespace uroko::eval;

namespace {

struct Seen {
  double error, stated;  ///< of the radius, in radii
  bool held;
};

Seen seen(const Case& c, const margin::Margin& m) {
  const double truth = cv::countNonZero(c.truth), found = area(m.outline), radius = std::sqrt(found / CV_PI);
  return {std::sqrt(found / truth) - 1, m.common_px / radius, std::abs(found - truth) < 1.96 * area_u(m)};
}

void row(const char* name, const std::vector<Case>& cases, double looseness) {
  std::vector<double> errors, stated;
  int held = 0, refused = 0;
  for (std::size_t i = 0; i < cases.size(); ++i) {
    const auto found = margin::find_in_loop(cases[i].bgr, rough_loop(cases[i], looseness, 17 + i));
    refused += !found;
    if (!found) continue;
    const auto s = seen(cases[i], *found);
    errors.push_back(s.error);
    stated.push_back(s.stated);
    held += s.held;
  }
  const double n = static_cast<double>(errors.size());
  double mean = 0, square = 0;
  for (const double e : errors) mean += e / n, square += e * e / n;
  std::printf("| %s | %.0f %% | %zu | %d | %+.1f | %.1f | %.1f | %.1f | %.0f |\n", name, 100 * looseness, errors.size(), refused, 100 * mean, 100 * std::sqrt(square), 100 * Scores::quantile(stated, 0.5),
              100 * Scores::quantile(stated, 0.9), 100 * held / n);
  std::fflush(stdout);
}

}  // namespace

int main() {
  std::vector<Case> koi;
  for (const auto& stratum : koi_strata())
    for (int n = 0; n < 8; ++n) koi.push_back(koi_case(stratum, n));
  const auto feet = open_set("fuseg_foot_ulcer");
  std::printf("| | loop outside | margins | refused | radius bias %% | RMS %% | stated, median %% | stated, p90 %% | area held %% |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- |\n");
  for (const double looseness : {0.12, 0.25, 0.35, 0.45, 0.6, 0.8}) {
    row("rendered koi", koi, looseness);
    if (!feet.empty()) row("foot ulcers", feet, looseness);
  }
}
