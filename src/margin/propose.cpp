// With no hint: loops are laid round the places that stand out, whatever their colour; of the margins found in them the one that looks most like a
// wound is proposed.
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "margin/colour_model.h"
#include "margin/finder.h"
#include "margin/proposal.h"
#include "margin/raster.h"
#include "margin/wound_colour.h"

namespace uroko::margin {

namespace {

constexpr int kSearchSide = 320;
/// Radius of a disc over the sigma at which centre against surround answers most.
constexpr double kDiscOverSigma = 1.7;
/// Likeness below which the photo is said to show no wound.
constexpr double kLikely = 0;

cv::Mat redness(const cv::Mat& lab) {
  cv::Mat a;
  cv::extractChannel(lab, a, 1);
  return a - 128;
}

cv::Mat darkness(const cv::Mat& lab) {
  cv::Mat l;
  cv::extractChannel(lab, l, 0);
  return 255 - l;
}

/// A field against a wide surrounding, at the scale of `sigma` px.
cv::Mat saliency(const cv::Mat& field, const cv::Mat& weight, double sigma) {
  cv::Mat out = smoothed(field, weight, sigma) - smoothed(field, weight, 2.2 * sigma);
  out.setTo(0, weight == 0);
  return out;
}

/// A loop round the patch of the field at `place`: what stands out at least half as much as the patch's best, gaps up to `sigma` closed, its hull
/// widened.
ImageOutline loop_round(const cv::Mat& field, const cv::Mat& weight, const cv::Point& place, double sigma) {
  const cv::Mat near = smoothed(field, weight, 0.5 * sigma), around = smoothed(field, weight, 3 * sigma);
  const float ground = around.at<float>(place);
  cv::Mat patch = near > ground + 0.5f * (near.at<float>(place) - ground);
  patch.setTo(0, weight == 0);
  // What hangs together beyond a few times the scale is another thing.
  cv::Mat nearby(patch.size(), CV_8U, cv::Scalar(0));
  cv::circle(nearby, place, static_cast<int>(std::lround(4 * sigma)), 255, -1);
  patch.setTo(0, nearby == 0);
  const int reach = 2 * static_cast<int>(std::lround(sigma)) + 1;
  cv::morphologyEx(patch, patch, cv::MORPH_CLOSE, cv::getStructuringElement(cv::MORPH_ELLIPSE, {reach, reach}));
  cv::Mat labels;
  cv::connectedComponents(patch, labels);
  const int label = labels.at<int>(place);
  if (label == 0) return {};
  std::vector<cv::Point> points, hull;
  cv::findNonZero(labels == label, points);
  cv::convexHull(points, hull);
  Ring<ImagePoint> ring;
  for (const auto& p : hull) ring.push_back({static_cast<double>(p.x), static_cast<double>(p.y)});
  const ImageOutline outline{{{ring, {}}}};
  if (find_fault(outline)) return {};
  return buffered(outline, 1 + 0.25 * radius_of(outline));
}

struct Loop {
  ImageOutline outline;  ///< in the searched picture
  cv::Mat mask;
  double strength = 0;
};

/// The loops that stand out most in one field, no two of all much the same.
void add_loops(const cv::Mat& field, double least, const cv::Mat& weight, double mm_per_px, std::size_t most, std::vector<Loop>& kept) {
  std::vector<Loop> all;
  for (const double sigma : {2.0, 3.2, 5.0, 8.0, 13.0, 20.0, 32.0, 50.0}) {
    const double radius_mm = kDiscOverSigma * sigma * mm_per_px;
    if (mm_per_px > 0 && (radius_mm < 1.2 || radius_mm > 60)) continue;
    cv::Mat s = saliency(field, weight, sigma);
    cv::Scalar mean, sd;
    cv::meanStdDev(s, mean, sd, weight > 0);
    for (int k = 0; k < 3 && sd[0] > 0; ++k) {
      double high = 0;
      cv::Point place;
      cv::minMaxLoc(s, nullptr, &high, nullptr, &place);
      if (high < least) break;
      const ImagePoint centre{static_cast<double>(place.x), static_cast<double>(place.y)};
      for (const auto& outline : {loop_round(field, weight, place, sigma), circle_around(centre, 1.3 * kDiscOverSigma * sigma)})
        if (!outline.empty()) all.push_back({outline, filled(outline, field.size()), high});
      cv::circle(s, place, static_cast<int>(2.5 * sigma), 0, -1);
    }
  }
  std::stable_sort(all.begin(), all.end(), [](const auto& a, const auto& b) { return a.strength > b.strength; });
  for (auto& loop : all) {
    if (most == 0) break;
    const bool known = std::any_of(kept.begin(), kept.end(), [&](const Loop& other) {
      return cv::countNonZero(loop.mask & other.mask) > 0.65 * cv::countNonZero(loop.mask | other.mask);
    });
    if (known) continue;
    kept.push_back(std::move(loop));
    --most;
  }
}

}  // namespace

Searched searched(const cv::Mat& bgr, const ImageOutline& ignore) {
  Searched out;
  out.crop = make_crop(bgr, {0, 0, bgr.cols, bgr.rows}, kSearchSide);
  out.lab = lab_of(out.crop.bgr);
  out.ignored = cv::Mat::zeros(out.lab.size(), CV_8U);
  cv::Mat usable = ~out.ignored;
  if (!ignore.empty()) {
    out.ignored = filled(out.crop.in_crop(ignore), out.lab.size());
    cv::distanceTransform(~out.ignored, out.away, cv::DIST_L2, 5);
    cv::erode(~out.ignored, usable, cv::getStructuringElement(cv::MORPH_ELLIPSE, {7, 7}));
  }
  usable.convertTo(out.weight, CV_32F, 1.0 / 255);
  cv::Mat lab;
  out.lab.convertTo(lab, CV_32FC3);
  out.colour = wound_colour(lab, out.weight);
  return out;
}

std::vector<Proposed> proposals(const cv::Mat& bgr, const Searched& photo, const ImageOutline& ignore, const FinderOptions& options) {
  cv::Mat lab;
  photo.lab.convertTo(lab, CV_32FC3);
  // First what has a wound's colours, then what is merely redder or darker than its surroundings.
  std::vector<Loop> loops;
  const double mm_per_px = options.mm_per_px / photo.crop.scale();
  add_loops(photo.colour, 0.03, photo.weight, mm_per_px, 10, loops);
  add_loops(redness(lab), 2, photo.weight, mm_per_px, 3, loops);
  add_loops(darkness(lab), 4, photo.weight, mm_per_px, 3, loops);
  std::vector<std::optional<Proposed>> found(loops.size());
  cv::parallel_for_({0, static_cast<int>(loops.size())}, [&](const cv::Range& range) {
    for (int k = range.start; k < range.end; ++k) {
      const auto i = static_cast<std::size_t>(k);
      auto margin = find_in_loop(bgr, photo.crop.in_photo(loops[i].outline), options);
      if (!margin) continue;
      if (!ignore.empty() && !find_fault(ignore) && area(intersection(margin->outline, ignore)) > 0.02 * area(margin->outline)) continue;
      if (area(margin->outline) > 0.5 * static_cast<double>(bgr.total())) continue;
      found[i] = Proposed{margin.value(), traits_of(bgr, photo, margin->outline, ignore, options.mm_per_px)};
    }
  });
  std::vector<Proposed> out;
  for (auto& p : found)
    if (p) out.push_back(std::move(*p));
  return out;
}

Result<Margin> propose(const cv::Mat& bgr, const ImageOutline& ignore, const FinderOptions& options) {
  if (auto refusal = refused_photo(bgr)) return *refusal;
  if (auto refusal = refused_options(options)) return *refusal;
  const auto photo = searched(bgr, ignore);
  const auto all = proposals(bgr, photo, ignore, options);
  const auto best = std::max_element(all.begin(), all.end(), [](const auto& a, const auto& b) { return likeness(a.traits) < likeness(b.traits); });
  if (best == all.end() || likeness(best->traits) < kLikely)
    return Refusal{"nothing-found", "nothing in the photo stands out as a wound", "draw a rough loop around the wound"};
  auto margin = best->margin;
  // The loop that led here was a guess: one laid round the answer finds it better, or finds the whole of which it is a part.
  double best_likeness = likeness(best->traits);
  for (const double looseness : {0.25, 0.5}) {
    const auto again = find_in_loop(bgr, buffered(best->margin.outline, looseness * radius_of(best->margin.outline)), options);
    if (!again) continue;
    const double z = likeness(traits_of(bgr, photo, again->outline, ignore, options.mm_per_px));
    if (z < best_likeness) continue;
    best_likeness = z;
    margin = again.value();
  }
  margin.from = From::automatic;
  margin.proposal = true;
  margin.warnings.push_back({"proposal", "this margin was proposed without any hint; confirm it or draw a loop around the wound"});
  return margin;
}

}  // namespace uroko::margin
