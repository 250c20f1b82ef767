// From one point in the wound: circles of growing radius are tried as loops; the margin with the clearest edge all round wins.
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "margin/band.h"
#include "margin/coarse.h"
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

/// Share of the clearest edge's score at which a smaller circle is believed.
constexpr double kNear = 0.7;

struct Trial {
  ImageOutline outline;
  double score = -1;
};

/// How clear the edge is all round: the lower quartile and the median of the contrast, less what lies on the loop itself.
double edge_score(const cv::Mat& lab, const Ring<ImagePoint>& ring, const ImagePoint& centre, double loop_radius) {
  BandOptions options;
  options.half_width_px = 4;
  options.spacing_px = 2;
  const auto band = settle(lab, {}, ring, options);
  auto contrast = band.contrast;
  std::sort(contrast.begin(), contrast.end());
  const double low = contrast[contrast.size() / 4], middle = contrast[contrast.size() / 2];
  int touching = 0;
  for (const auto& p : ring) touching += distance(p, centre) > 0.93 * loop_radius;
  return std::min(low, 5.0) + std::min(middle, 6.0) - 6.0 * touching / static_cast<double>(ring.size());
}

}  // namespace

Result<Margin> find_from_point(const cv::Mat& bgr, const ImagePoint& inside, const FinderOptions& options) {
  if (auto refusal = refused_photo(bgr)) return *refusal;
  if (auto refusal = refused_options(options)) return *refusal;
  if (!std::isfinite(inside.x) || !std::isfinite(inside.y) || inside.x < -0.5 || inside.y < -0.5 || inside.x > bgr.cols - 0.5 ||
      inside.y > bgr.rows - 0.5)
    return Refusal{"point-outside", "the point lies outside the photo", "point into the wound"};
  std::vector<Trial> trials;
  const double side = std::min(bgr.cols, bgr.rows);
  const double first = std::max(7.0, 0.012 * side);
  for (double radius = first; radius < 0.45 * side; radius *= 1.35) {
    const auto loop = circle_around(inside, radius);
    const Crop crop = make_crop(bgr, box_of(loop, 0.2), 112, 2);
    const auto local = crop.in_crop(loop);
    const cv::Mat lab = lab_of(crop.bgr);
    cv::Mat found = coarse_in_loop(lab, filled(local, crop.bgr.size()));
    if (found.empty()) continue;
    found = largest_part(found, false);
    if (found.empty()) continue;
    cv::Mat level;
    found.convertTo(level, CV_32F, 1.0 / 255);
    cv::GaussianBlur(level, level, {}, 0.8);
    auto outline = outline_at(level, 0.5f, 12);
    if (outline.empty()) continue;
    outline.parts.resize(1);
    const auto centre = crop.in_crop(inside);
    if (!contains(outline, centre)) continue;
    const double score = edge_score(lab, outline.parts.front().outer, centre, radius * crop.scale());
    trials.push_back({crop.in_photo(outline), score});
  }
  // The clearest edge of all is often the limb's or the body's against its background: the first circle whose edge comes near it is taken,
  // and of its neighbours the clearest.
  double clearest = 0;
  for (const auto& trial : trials) clearest = std::max(clearest, trial.score);
  Trial best;
  for (std::size_t i = 0; i < trials.size() && best.outline.empty(); ++i) {
    if (trials[i].score < kNear * clearest) continue;
    while (i + 1 < trials.size() && trials[i + 1].score > trials[i].score && area(trials[i + 1].outline) < 1.5 * area(trials[i].outline)) ++i;
    best = trials[i];
  }
  if (best.outline.empty())
    return Refusal{"nothing-found", "no edge was found around the point", "point into the middle of the wound, or draw a loop around it"};
  // The found margin widened makes a loop that follows the wound's shape.
  auto loop = buffered(best.outline, 0.25 * radius_of(best.outline));
  auto result = find_in_loop(bgr, loop, options);
  if (!result) return result.refusal();
  result->from = From::seed;
  if (!contains(result->outline, inside))
    result->warnings.push_back({"point-outside-margin", "the margin found does not take in the point; check it"});
  return result;
}

}  // namespace uroko::margin
