// The margin from a rough loop, a point and a stroke, beside a general-purpose library's own ways from the same loop.
//   bench_margins            all of it; the figures of assets/guide/margins.md
//   bench_margins --short    a few photos and scenes, no timing at 12 and 24 megapixels
// Other arguments: --foot, --koi, --leg, --time pick parts; --verbose a line a case; --ours leaves the library's own ways out.
// ctest: --short
#include <chrono>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <functional>
#include <map>

#include "bench/margin_koi.h"
#include "bench/margin_peers.h"
#include "bench/margin_strokes.h"
#include "bench/open_set.h"
#include "uroko/margin/margin.h"
#include "uroko/photo/photo.h"

using namespace uroko;
using namespace uroko::eval;

namespace {

struct Options {
  bool brief = false, verbose = false, ours = false, foot = false, koi = false, leg = false, time = false;
};

double seconds(const std::function<void()>& f) {
  const auto start = std::chrono::steady_clock::now();
  f();
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

struct Row {
  Scores scores;
  int covered = 0;
  double time_s = 0;
  void add(const Case& c, const Result<margin::Margin>& result) {
    if (!result) {
      scores.refuse(c);
      return;
    }
    scores.add(c, mask_of(result->outline, c.bgr.size()), area(result->outline));
    covered += std::abs(area(result->outline) - cv::countNonZero(c.truth)) < 1.96 * area_u(*result);
  }
  void print(const std::string& name, bool ours) const {
    const auto n = static_cast<double>(scores.dice.size());
    std::printf("| %s | %.3f | %.3f | %.3f | %+.1f | %.1f | %.2f | %s | %d | %.0f |\n", name.c_str(), scores.mean_dice(),
                Scores::quantile(scores.dice, 0.5), Scores::quantile(scores.dice, 0.1), 100 * scores.bias(), 100 * scores.median_area(),
                scores.mean_boundary(), ours ? std::to_string(static_cast<int>(std::lround(100 * covered / n))).c_str() : "", scores.refused,
                1000 * time_s / n);
    std::fflush(stdout);
  }
};

std::uint64_t seed_of(const Case& c) { return 17 + std::hash<std::string>{}(c.name) % 997; }

using Peer = cv::Mat (*)(const cv::Mat&, const ImageOutline&);

struct Summary {
  double ours = 0, p10 = 0, grab_cut = 0;
};

Summary compare(const std::string& title, const std::vector<Case>& cases, const Options& options) {
  std::printf(
      "\n### %s: %zu photos\n\n| from the same loop | Dice mean | median | p10 | area bias %% | |area error| median %% | boundary px | in 95 %% "
      "interval %% | refused | ms |\n",
      title.c_str(), cases.size());
  std::printf("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n");
  Summary summary;
  if (cases.empty()) return summary;
  Row loop, stroke, curved, point, half[2];
  std::map<double, Row> loose;
  Row hull, ellipse;
  int index = 0;
  for (const auto& c : cases) {
    const auto rough = rough_loop(c, 0.25, seed_of(c));
    std::optional<Result<margin::Margin>> found;
    loop.time_s += seconds([&] { found = margin::find_in_loop(c.bgr, rough); });
    loop.add(c, *found);
    half[index++ % 2].add(c, *found);
    if (options.verbose) std::printf("%s: %.3f %+.3f\n", c.name.c_str(), loop.scores.dice.back(), loop.scores.area_error.back());
    if (*found) {
      const cv::Mat mask = mask_of((*found)->outline, c.bgr.size());
      const auto fix = correction(c, mask, straight_line), along = correction(c, mask, middle_line);
      std::optional<Result<margin::Margin>> better;
      curved.time_s += seconds([&] { better = margin::refine(c.bgr, found->value(), along.keep, along.drop); });
      curved.add(c, *better);
      stroke.time_s += seconds([&] { better = margin::refine(c.bgr, found->value(), fix.keep, fix.drop); });
      stroke.add(c, *better);
      if (options.verbose && *better) std::printf("   stroke: %.3f\n", stroke.scores.dice.back());
    } else {
      stroke.scores.refuse(c);
      curved.scores.refuse(c);
    }
    point.time_s += seconds([&] { found = margin::find_from_point(c.bgr, c.point); });
    point.add(c, *found);
    if (options.verbose) std::printf("   point: %.3f\n", point.scores.dice.back());
    if (!options.brief) {
      for (const double l : {0.12, 0.45}) loose[l].add(c, margin::find_in_loop(c.bgr, rough_loop(c, l, seed_of(c) + 1)));
      hull.add(c, margin::find_in_loop(c.bgr, hull_loop(c, 0.25)));
      ellipse.add(c, margin::find_in_loop(c.bgr, ellipse_loop(c, 0.05)));
    }
  }
  loop.print("uroko", true);
  const std::pair<const char*, Peer> peers[] = {{"cv::grabCut, whole photo, 5 iterations", grab_cut_photo},
                                                {"cv::grabCut, crop of 256 px, 5 iterations", grab_cut_crop},
                                                {"cv::watershed, crop of 384 px", watershed_crop},
                                                {"intelligent scissors, crop of 384 px, 12 clicks", scissors_crop}};
  for (const auto& [name, peer] : peers) {
    if (options.ours) break;
    Row row;
    for (const auto& c : cases) {
      const auto rough = rough_loop(c, 0.25, seed_of(c));
      cv::Mat mask;
      row.time_s += seconds([&] { mask = peer(c.bgr, rough); });
      row.scores.add(c, mask);
    }
    row.print(name, false);
    if (peer == grab_cut_crop) summary.grab_cut = row.scores.mean_dice();
  }
  stroke.print("uroko, after one corrective stroke, straight", true);
  curved.print("uroko, after one along the whole of what is wrong", true);
  point.print("uroko, from one point", true);
  if (!options.brief) {
    half[0].print("uroko, even photos (tuned on)", true);
    half[1].print("uroko, odd photos (not tuned on)", true);
    for (const auto& [l, row] : loose) row.print("uroko, loop " + std::to_string(static_cast<int>(100 * l)) + " % outside", true);
    hull.print("uroko, loop: convex hull x 1.25, 12 corners", true);
    ellipse.print("uroko, loop: ellipse round it all", true);
  }
  summary.ours = loop.scores.mean_dice();
  summary.p10 = Scores::quantile(loop.scores.dice, 0.1);
  return summary;
}

long status_kb(const char* key) {
  std::ifstream in("/proc/self/status");
  std::string line;
  while (std::getline(in, line))
    if (line.rfind(key, 0) == 0) return std::atol(line.c_str() + std::strlen(key) + 1);
  return 0;
}

/// Peak memory above what was held before, MB.
double growth_mb(const std::function<void()>& f) {
  std::ofstream("/proc/self/clear_refs") << 5;  // resets the peak (proc(5))
  const long before = status_kb("VmRSS");
  f();
  return static_cast<double>(status_kb("VmHWM") - before) / 1024;
}

void timing(const Options& options) {
  std::printf(
      "\n### Time and memory\n\n| megapixels | loop ms | stroke ms | stroke to loop | grabCut, whole photo, ms | times faster | loop MB | grabCut MB |\n| --- | --- | "
      "--- | --- | --- | --- | --- | --- |\n");
  auto c = koi_case("usual", 0);
  for (const double megapixels : {1.0, 12.0, 24.0}) {
    if (options.brief && megapixels > 1) break;
    const double s = std::sqrt(megapixels * 1e6 / static_cast<double>(c.bgr.total()));
    Case big = c;
    cv::resize(c.bgr, big.bgr, {}, s, s, cv::INTER_CUBIC);
    cv::Mat noise(big.bgr.size(), CV_8UC3);
    cv::theRNG().state = 7;
    cv::randn(noise, 4, 2);
    big.bgr += noise;
    noise.release();
    auto loop = rough_loop(c, 0.25, 5);
    const auto up = [&](const ImagePoint& p) { return ImagePoint{(p.x + 0.5) * s - 0.5, (p.y + 0.5) * s - 0.5}; };
    loop = mapped<ImagePoint, ImagePoint>(loop, up);
    std::optional<Result<margin::Margin>> found;
    double ours_mb = growth_mb([&] { found = margin::find_in_loop(big.bgr, loop); });
    if (!*found) continue;
    std::vector<double> times, strokes;
    const auto edge = (*found)->outline.parts[0].outer.front(), middle = centroid((*found)->outline);
    const margin::Stroke keep{{edge.x + 0.1 * (edge.x - middle.x), edge.y + 0.1 * (edge.y - middle.y)},
                              {edge.x + 0.12 * (edge.x - middle.x), edge.y + 0.1 * (edge.y - middle.y)}};
    for (int k = 0; k < 15; ++k) {
      times.push_back(1000 * seconds([&] { found = margin::find_in_loop(big.bgr, loop); }));
      strokes.push_back(1000 * seconds([&] { (void)margin::refine(big.bgr, found->value(), {keep}, {}); }));
    }
    const double ours = Scores::quantile(times, 0.5), again = Scores::quantile(strokes, 0.5);
    if (options.ours) {
      std::printf("| %.0f | %.0f | %.0f | %.2f | | | %.0f | |\n", megapixels, ours, again, again / ours, ours_mb);
      continue;
    }
    const cv::Mat mask = mask_of(loop, big.bgr.size());
    double theirs = 0;
    const double theirs_mb = growth_mb([&] { theirs = 1000 * seconds([&] { grab_cut(big.bgr, mask, 5); }); });
    std::printf("| %.0f | %.0f | %.0f | %.2f | %.0f | %.0f | %.0f | %.0f |\n", megapixels, ours, again, again / ours, theirs, theirs / ours,
                ours_mb, theirs_mb);
    std::fflush(stdout);
  }
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  for (int i = 1; i < argc; ++i) {
    const std::string a = argv[i];
    options.brief |= a == "--short";
    options.verbose |= a == "--verbose";
    options.ours |= a == "--ours";
    options.foot |= a == "--foot";
    options.koi |= a == "--koi";
    options.leg |= a == "--leg";
    options.time |= a == "--time";
  }
  if (!options.foot && !options.koi && !options.leg && !options.time) options.foot = options.koi = options.leg = options.time = true;
  int failed = 0;
  const auto expect = [&](const char* what, double value, double least) {
    if (value >= least) return;
    std::printf("FAILED: %s is %.3f, expected at least %.3f\n", what, value, least);
    ++failed;
  };
  if (options.foot) {
    const auto cases = open_set("fuseg_foot_ulcer", options.brief ? 6 : 1000);
    if (cases.empty()) std::printf("fuseg_foot_ulcer is not here: skipped\n");
    const auto summary = compare("Foot ulcers (fuseg_foot_ulcer)", cases, options);
    if (!cases.empty()) {
      expect("foot ulcers, mean Dice", summary.ours, 0.93);
      if (!options.ours) expect("foot ulcers, mean Dice above grabCut's", summary.ours - summary.grab_cut, 0);
    }
  }
  if (options.leg) compare("Leg ulcers (lutseg_examples)", open_set("lutseg_examples", options.brief ? 0 : 100), options);
  if (options.koi) {
    std::vector<Case> all;
    std::printf(
        "\n### Rendered koi, one loop a quarter of the radius outside\n\n| stratum | Dice mean | worst | area bias %% | boundary px | at 12 %% | at "
        "45 %% |\n| --- | --- | --- | --- | --- | --- | --- |\n");
    for (const auto& stratum : koi_strata()) {
      if (options.brief && stratum != "usual") continue;
      Row rows[3];
      for (int n = 0; n < (options.brief ? 1 : 8); ++n) {
        const auto c = koi_case(stratum, n);
        for (int k = 0; k < 3; ++k) rows[k].add(c, margin::find_in_loop(c.bgr, rough_loop(c, k == 0 ? 0.25 : k == 1 ? 0.12 : 0.45, seed_of(c))));
        if (options.verbose)
          std::printf("%s: %.4f %+.3f | %.4f %.4f\n", c.name.c_str(), rows[0].scores.dice.back(), rows[0].scores.area_error.back(),
                      rows[1].scores.dice.back(), rows[2].scores.dice.back());
        all.push_back(c);
      }
      std::printf("| %s | %.4f | %.4f | %+.2f | %.2f | %.4f | %.4f |\n", stratum.c_str(), rows[0].scores.mean_dice(),
                  Scores::quantile(rows[0].scores.dice, 0), 100 * rows[0].scores.bias(), rows[0].scores.mean_boundary(), rows[1].scores.mean_dice(),
                  rows[2].scores.mean_dice());
      std::fflush(stdout);
    }
    const auto summary = compare("Rendered koi", all, options);
    expect("rendered koi, mean Dice", summary.ours, 0.94);
  }
  if (options.time) timing(options);
  return failed ? 1 : 0;
}
