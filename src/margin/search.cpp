// The coarse margin below a rough loop: the neighbourhood unwrapped along the loop, a fitted net's word on every place, the best closed path.
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "margin/colour_model.h"
#include "margin/finder.h"
#include "margin/rays.h"

namespace uroko::margin {

namespace {

/// Depth below the loop at which the wound begins, in radii of the loop: for a loop a quarter of the wound's radius outside it is 0.2, for 12 % 0.11,
/// for 45 % 0.31. The net was fitted on all of them alike; this is what is known of people.
constexpr double kUsualDepth = 0.19;
/// Clarity up to which that counts in full (median on foot ulcers 1.9, on rendered koi 2.5), and by how much less beyond.
constexpr double kVague = 1.9, kClear = 5;

}  // namespace

Search search_in_loop(const cv::Mat& bgr, const ImageOutline& loop, int side, double spread) {
  const Crop crop = make_crop(bgr, box_of(loop, 0.2), side);
  Search out;
  out.scale = crop.scale();
  cv::Mat smooth;
  cv::GaussianBlur(crop.bgr, smooth, {}, 0.6);
  const cv::Mat lab = lab_of(smooth);
  const auto local = crop.in_crop(loop);
  double length = 0;
  for (const auto& part : local.parts) {
    if (std::abs(signed_area(part.outer)) < 12) continue;
    const auto rays = rays_about(lab, part.outer, kWideRays);
    auto score = scores(wide_model(), features_of(rays));
    if (spread > 0) {
      // The clearer the margin is without it, the less the expectation counts.
      const double clear = follow(rays, score, kWideStiffness, kSharpness).clarity, sd = spread * (1 + kClear * std::max(0.0, clear - kVague));
      for (int i = 0; i < rays.n; ++i)
        for (int k = 0; k < rays.m; ++k) {
          const double off = (rays.depth_px(k) / rays.radius_px - kUsualDepth) / sd;
          score[static_cast<Eigen::Index>(i) * rays.m + k] -= static_cast<float>(0.5 * off * off);
        }
    }
    const auto found = follow(rays, score, kWideStiffness, kSharpness);
    ImageOutline ring{{{found.ring, {}}}};
    if (find_fault(ring)) ring = made_valid(ring);
    if (ring.empty()) continue;
    // Loops that the path makes where rays cross are not parts of the wound.
    largest_first(ring);
    if (std::abs(signed_area(ring.parts.front().outer)) < 8) continue;
    out.outline.parts.push_back({std::move(ring.parts.front().outer), {}});
    out.clarity += found.clarity * rays.n;
    length += rays.n;
  }
  if (out.outline.empty()) return out;
  out.clarity /= length;
  out.outline = crop.in_photo(out.outline);
  if (find_fault(out.outline)) out.outline = made_valid(out.outline);
  largest_first(out.outline);
  return out;
}

}  // namespace uroko::margin
