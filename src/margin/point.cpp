// From one point in the wound: circles of growing radius are tried as loops; what each gives, widened, is the next loop; the margin with
// the clearest edge to which several circles lead wins.
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "margin/band.h"
#include "margin/colour_model.h"
#include "margin/finder.h"
#include "margin/raster.h"

namespace uroko::margin {

ImageOutline circle_around(const ImagePoint& centre, double radius) {
  Ring<ImagePoint> ring;
  for (int i = 0; i < 48; ++i) ring.push_back({centre.x + radius * std::cos(2 * CV_PI * i / 48), centre.y + radius * std::sin(2 * CV_PI * i / 48)});
  return {{{ring, {}}}};
}

namespace {

constexpr double kGrow = 1.25;  ///< from one circle to the next
constexpr int kRounds = 2;      ///< a found margin, widened, is the next loop
constexpr int kSide = 128;
// What speaks for a margin, beside the clarity of its place on the rays: contrast, lightness rising outward, how many circles led to it; and against it,
// a little, its size (limbs and bodies have clear edges too). Tuned on the even photos of fuseg_foot_ulcer and on koi scenes 50 and 51.
constexpr double kContrastWeight = 0.5, kRiseWeight = 3, kCircleWeight = 0.75, kSizeWeight = 0.25;
constexpr int kMostCircles = 4;
constexpr double kSame = 1.06;  ///< radii this near are one margin's
/// Of scores: the other margins that the point may have meant count by exp(difference / this). Chosen on koi scenes 60 to 67, so that the interval holds.
constexpr double kDoubtScale = 0.8;
constexpr double kManyEdges = 0.25;  ///< spread of ln radius from which a loop is asked for

struct Trial {
  ImageOutline outline;
  double radius = 0, clarity = 0;
};

ImageOutline only_outer(ImageOutline outline) {
  outline.parts.resize(1);
  outline.parts.front().holes.clear();
  return outline;
}

double edge_score(const cv::Mat& bgr, const ImageOutline& outline) {
  const Crop crop = make_crop(bgr, box_of(outline, 0.3), kSide, 2);
  BandOptions options;
  options.half_width_px = 4;
  const auto band = settle(lab_of(crop.bgr), {}, crop.in_crop(outline).parts.front().outer, options);
  auto contrast = band.contrast;
  std::sort(contrast.begin(), contrast.end());
  const double low = contrast[contrast.size() / 4], middle = contrast[contrast.size() / 2];
  double rise = 0;
  for (const double r : band.rise) rise += r / static_cast<double>(band.rise.size());
  return kContrastWeight * (std::min(low, 5.0) + std::min(middle, 6.0)) + kRiseWeight * rise;
}

}  // namespace

Result<Margin> find_from_point(const cv::Mat& bgr, const ImagePoint& inside, const FinderOptions& options) {
  if (auto refusal = refused_photo(bgr)) return *refusal;
  if (auto refusal = refused_options(options)) return *refusal;
  if (!std::isfinite(inside.x) || !std::isfinite(inside.y) || inside.x < -0.5 || inside.y < -0.5 || inside.x > bgr.cols - 0.5 ||
      inside.y > bgr.rows - 0.5)
    return Refusal{"point-outside", "the point lies outside the photo", "point into the wound"};
  const double side = std::min(bgr.cols, bgr.rows);
  const auto frame = photo_frame(bgr);
  std::vector<Trial> trials;
  for (double radius = std::max(7.0, 0.012 * side); radius < 0.45 * side; radius *= kGrow) {
    auto loop = intersection(circle_around(inside, radius), frame);
    Trial trial;
    for (int round = 0; round <= kRounds && !loop.empty(); ++round) {
      const auto found = search_in_loop(bgr, loop, kSide, round == 0 ? 0 : kUsualSpread);
      trial.outline = {};
      if (found.outline.empty() || find_fault(found.outline)) break;
      trial = {only_outer(found.outline), 0, found.clarity};
      trial.radius = radius_of(trial.outline);
      loop = buffered(trial.outline, 0.25 * trial.radius);
      if (!loop.empty()) loop = intersection(only_outer(loop), frame);
    }
    if (!trial.outline.empty() && contains(trial.outline, inside)) trials.push_back(std::move(trial));
  }
  std::sort(trials.begin(), trials.end(), [](const Trial& a, const Trial& b) { return a.radius < b.radius; });
  const Trial* best = nullptr;
  double most = -1e300;
  std::vector<std::pair<double, double>> scored;  // score, ln radius
  for (std::size_t i = 0; i < trials.size();) {
    std::size_t end = i + 1, clearest = i;
    while (end < trials.size() && trials[end].radius < kSame * trials[end - 1].radius) ++end;
    for (std::size_t k = i; k < end; ++k)
      if (trials[k].clarity > trials[clearest].clarity) clearest = k;
    const auto& trial = trials[clearest];
    const double score = trial.clarity + edge_score(bgr, trial.outline) + kCircleWeight * std::min<double>(static_cast<double>(end - i), kMostCircles) -
                         kSizeWeight * std::log(trial.radius);
    scored.emplace_back(score, std::log(trial.radius));
    if (score > most) most = score, best = &trial;
    i = end;
  }
  if (!best)
    return Refusal{"nothing-found", "no edge was found around the point", "point into the middle of the wound, or draw a loop around it"};
  // The found margin widened makes a loop that follows the wound's shape.
  auto result = find_in_loop(bgr, buffered(best->outline, 0.25 * best->radius), options);
  if (!result) return result.refusal();
  result->from = From::seed;
  // Which of the edges round it the point means is not seen in the photo.
  double weights = 0, spread = 0;
  for (const auto& [score, size] : scored) {
    const double weight = std::exp((score - most) / kDoubtScale), off = size - std::log(best->radius);
    weights += weight, spread += weight * off * off;
  }
  spread = std::sqrt(spread / weights);
  result->common_px = std::hypot(result->common_px, spread * radius_of(result->outline));
  if (spread > kManyEdges)
    result->warnings.push_back({"point-doubtful", "more than one edge round the point fits nearly as well, so the interval is wide; draw a loop round the wound"});
  if (!contains(result->outline, inside))
    result->warnings.push_back({"point-outside-margin", "the margin found does not take in the point; check it"});
  return result;
}

}  // namespace uroko::margin
