// Corrective strokes: only the margin near a stroke is solved again; elsewhere its vertices stay as they are.
#include <algorithm>
#include <cmath>
#include <map>
#include <opencv2/imgproc.hpp>

#include "margin/band.h"
#include "margin/coarse.h"
#include "margin/colour_model.h"
#include "margin/finder.h"
#include "margin/raster.h"
#include "margin/stroke_rays.h"

namespace uroko::margin {

namespace {

// Lengths below are in the distance between the stroke and the present margin unless said otherwise. Tuned on the even photos of fuseg_foot_ulcer.
constexpr double kSpread = 2.2;  ///< how far from the stroke the margin may change
constexpr double kMoat = 0.04;   ///< and this much further, in the wound's radii
constexpr double kLong = 0.15;   ///< along the margin past the stroke's ends the shift falls off over this, in the wound's radii
constexpr double kClimb = 0.3;   ///< steepest way in which a stroke may lead away from the margin and still tell the width of what is wrong
constexpr double kCap = 0.8;     ///< most distance believed, in lengths of the stroke
constexpr double kTap = 0.1;     ///< but for a tap this much, in the wound's radii
constexpr double kBeyond = 1;    ///< where beyond the stroke the new edge is expected
constexpr double kStay = 2, kSlope = 4, kSlab = 5, kMost = 4;  ///< log-odds: of what already lay right; a unit of distance; the same beside the stroke; most
constexpr double kSettle = 0.4;  ///< half-width of the band that settles the new stretch
constexpr double kEnlarge = 3;
constexpr int kWindowSide = 160;

double from_outline(const ImageOutline& outline, const ImagePoint& p) {
  double best = 1e300;
  for (const auto& part : outline.parts) {
    best = std::min(best, distance_from(part.outer, p));
    for (const auto& hole : part.holes) best = std::min(best, distance_from(hole, p));
  }
  return best;
}

std::optional<ImagePoint> contradiction(const std::vector<Stroke>& keep, const std::vector<Stroke>& drop) {
  const auto cross = [](const ImagePoint& o, const ImagePoint& a, const ImagePoint& b) {
    return (a.x - o.x) * (b.y - o.y) - (a.y - o.y) * (b.x - o.x);
  };
  for (const auto& k : keep)
    for (const auto& d : drop)
      for (std::size_t i = 0; i < k.size(); ++i)
        for (std::size_t j = 0; j < d.size(); ++j) {
          const auto &a = k[i], &b = k[std::min(i + 1, k.size() - 1)], &c = d[j], &e = d[std::min(j + 1, d.size() - 1)];
          if (distance(a, c) < 1) return a;
          if (cross(a, b, c) * cross(a, b, e) < 0 && cross(c, e, a) * cross(c, e, b) < 0) return a;
        }
  return std::nullopt;
}

/// An outline and the doubt at its new vertices, px.
struct Solved {
  ImageOutline outline;
  std::vector<std::pair<ImagePoint, double>> doubts;
};

/// The strokes' surroundings solved again by one minimum cut on a window.
Result<Solved> cut_again(const cv::Mat& bgr, const Margin& present, const std::vector<Stroke>& keep, const std::vector<Stroke>& drop,
                         const FinderOptions& options) {
  // A stroke that lies wrong says more than its own pixels: a person draws it about the middle of what is wrong, so the edge belongs about as
  // far beyond the stroke as the present margin lies before it.
  const double radius = radius_of(present.outline);
  double furthest = 0;
  Ring<ImagePoint> wrong;
  const auto collect = [&](const std::vector<Stroke>& strokes, bool inside) {
    for (const auto& stroke : strokes)
      for (const auto& p : stroke)
        if (contains(present.outline, p) != inside) furthest = std::max(furthest, from_outline(present.outline, p)), wrong.push_back(p);
  };
  collect(keep, true);
  collect(drop, false);
  if (wrong.empty()) return Solved{present.outline, {}};
  const double least = std::max(1.0, 0.01 * radius), spread = kSpread * std::max(furthest, least) + std::max(2.0, kMoat * radius);
  auto box = box_of({{{wrong, {}}}}, 0);
  const int pad = static_cast<int>(std::ceil(spread + std::max(4.0, (0.3 + 2 * kLong) * radius)));
  box = cv::Rect(box.x - pad, box.y - pad, box.width + 2 * pad, box.height + 2 * pad);
  const Crop crop = make_crop(bgr, box, std::min(kWindowSide, options.crop_side_px), kEnlarge);
  const double s = crop.scale();
  const auto size = crop.bgr.size();
  const cv::Mat now = filled(crop.in_crop(present.outline), size);
  const double brush = std::max(0.75, s);
  const auto strokes_mask = [&](const std::vector<Stroke>& strokes) {
    cv::Mat mask = cv::Mat::zeros(size, CV_8U);
    for (const auto& stroke : strokes) {
      std::vector<ImagePoint> local;
      local.reserve(stroke.size());
      for (const auto& p : stroke) local.push_back(crop.in_crop(p));
      mask |= stroked(local, brush, size);
    }
    return mask;
  };
  const cv::Mat must = strokes_mask(keep), never = strokes_mask(drop);
  cv::Mat to_wound, to_skin;
  cv::distanceTransform(~now, to_wound, cv::DIST_L2, 5);
  cv::distanceTransform(now, to_skin, cv::DIST_L2, 5);
  cv::Mat prior(size, CV_32F), reach = cv::Mat::zeros(size, CV_32F);
  for (int y = 0; y < size.height; ++y)
    for (int x = 0; x < size.width; ++x) prior.at<float>(y, x) = now.at<uchar>(y, x) ? 20.f : -20.f;
  const auto open_up = [&](const cv::Mat& stroke, const cv::Mat& to_own, const cv::Mat& to_other, float sign) {
    const cv::Mat lies_wrong = stroke & (sign > 0 ? ~now : now);
    if (cv::countNonZero(lies_wrong) == 0) return;
    cv::Mat away, label;
    cv::distanceTransform(~lies_wrong, away, label, cv::DIST_L2, 5, cv::DIST_LABEL_PIXEL);
    std::vector<float> before(static_cast<std::size_t>(cv::countNonZero(lies_wrong)) + 1, 0.f);
    std::vector<cv::Point> places;
    for (int y = 0; y < size.height; ++y)
      for (int x = 0; x < size.width; ++x)
        if (lies_wrong.at<uchar>(y, x)) before[static_cast<std::size_t>(label.at<int>(y, x))] = to_own.at<float>(y, x), places.emplace_back(x, y);
    // A stroke that points away from the margin follows a tongue of it, and how far its end lies says nothing of how wide that is; nor does a
    // short stroke far away speak of more than its own surroundings.
    const auto raw = before;
    for (const auto& a : places) {
      const auto i = static_cast<std::size_t>(label.at<int>(a));
      double longest = 0;
      for (const auto& b : places) {
        const double apart = cv::norm(a - b);
        longest = std::max(longest, apart);
        before[i] = std::min(before[i], raw[static_cast<std::size_t>(label.at<int>(b))] + static_cast<float>(kClimb * apart));
      }
      before[i] = std::min(before[i], static_cast<float>(std::max(kCap * longest, kTap * radius * s)));
    }
    for (int y = 0; y < size.height; ++y)
      for (int x = 0; x < size.width; ++x) {
        const float b = std::max(static_cast<float>(least * s), before[static_cast<std::size_t>(label.at<int>(y, x))]), d = away.at<float>(y, x);
        const double open = kSpread * b + std::max(2.0, kMoat * radius) * s, along = kLong * radius * s, past = std::max(0.0, static_cast<double>(d - b));
        const bool own = (sign > 0) == (now.at<uchar>(y, x) != 0);
        const double beyond = static_cast<double>(own ? -to_other.at<float>(y, x) : to_own.at<float>(y, x));
        // Right of the stroke the edge has moved twice as far as the stroke lies from it; what is wrong mostly goes on along the margin, less and less.
        const double near = open - static_cast<double>(d), beside = std::min(2 * along - past, kSpread * b - std::abs(beyond));
        if (std::max(near, beside) < 0) continue;
        reach.at<float>(y, x) = std::max(reach.at<float>(y, x), static_cast<float>(std::max(near, beside)));
        float& odds = prior.at<float>(y, x);
        const double shift = 2 * b * std::exp(-std::pow(past / std::max(along, 1e-6), 2));
        const double disc = kSlope * (kBeyond - static_cast<double>(d / b)), slab = kSlab * (shift - beyond) / b;
        const float said = sign * static_cast<float>(own ? kStay : std::clamp(std::max(disc, slab), -kMost, kMost));
        odds = std::abs(odds) > 19 ? said : odds + said;
      }
  };
  open_up(must, to_wound, to_skin, 1);
  open_up(never, to_skin, to_wound, -1);
  prior.setTo(20, must);
  prior.setTo(-20, never);
  cv::Mat level;
  coarse_from_prior(lab_of(crop.bgr), prior).convertTo(level, CV_32F, 1.0 / 255);
  cv::GaussianBlur(level, level, {}, 0.8);
  const Refusal nothing_left{"nothing-left", "the strokes leave nothing of the wound", "take the last stroke back"};
  auto solved = crop.in_photo(outline_at(level, 0.5f, 4)), region = crop.in_photo(outline_at(reach, 0.5f, 1));
  if (find_fault(solved)) solved = made_valid(solved);
  if (find_fault(region)) region = made_valid(region);
  if (region.empty()) return Solved{present.outline, {}};
  const auto spliced = [&](const ImageOutline& fresh, const ImageOutline& rest) {
    auto joined = united(difference(rest, region), intersection(fresh, region));
    largest_first(joined);
    return joined;
  };
  auto joined = spliced(solved, present.outline);
  if (joined.empty()) return nothing_left;
  // The new stretch is settled to a part of a pixel; of the rings only what lies in the region is taken over.
  auto fine = joined;
  std::vector<std::pair<ImagePoint, double>> doubts;
  const cv::Mat lab = [&] {
    cv::Mat smooth;
    cv::GaussianBlur(crop.bgr, smooth, {}, 0.7);
    return lab_of(smooth);
  }();
  const auto settle_ring = [&](Ring<ImagePoint>& ring, bool island) {
    const bool touched = std::any_of(ring.begin(), ring.end(), [&](const auto& p) { return contains(region, p); });
    if (!touched || ring.size() < 8) return;
    Ring<ImagePoint> local;
    for (const auto& p : ring) local.push_back(crop.in_crop(p));
    BandOptions band_options;
    band_options.half_width_px = std::clamp(kSettle * furthest * s, 1.5, 8.0);
    band_options.spacing_px = std::clamp(ring_length(local) / 400, 1.0, 2.0);
    band_options.island = island;
    const auto band = settle(lab, {}, local, band_options);
    ring.clear();
    for (std::size_t i = 0; i < band.ring.size(); ++i) {
      ring.push_back(crop.in_photo(band.ring[i]));
      doubts.emplace_back(ring.back(), band.doubt_px[i] / s);
    }
  };
  for (auto& part : fine.parts) {
    settle_ring(part.outer, false);
    for (auto& hole : part.holes) settle_ring(hole, true);
  }
  if (find_fault(fine)) fine = made_valid(fine);
  if (auto again = spliced(fine, joined); !again.empty() && !find_fault(again)) joined = again;
  return Solved{joined, doubts};
}

bool followed(const ImageOutline& outline, const Stroke& stroke, bool wound) {
  return std::all_of(stroke.begin(), stroke.end(), [&](const auto& p) { return contains(outline, p) == wound; });
}

/// The present margin with another outline: old vertices keep their doubt, those of the new stretch take what was seen of it.
Margin margin_of(const Margin& present, const ImageOutline& outline, std::vector<std::pair<ImagePoint, double>> doubts) {
  Margin margin = present;
  margin.outline = outline;
  margin.proposal = false;
  const auto& old = present.outline.parts.front().outer;
  std::map<std::pair<double, double>, double> stayed;
  if (!present.doubt_px.empty())
    for (std::size_t k = 0; k < old.size() && k < present.doubt_px.size(); ++k) {
      stayed.emplace(std::pair(old[k].x, old[k].y), present.doubt_px[k]);
      doubts.emplace_back(old[k], present.doubt_px[k]);
    }
  margin.doubt_px.clear();
  for (const auto& q : outline.parts.front().outer) {
    double best = 1e300, doubt = 0.5;
    if (const auto same = stayed.find({q.x, q.y}); same != stayed.end())
      doubt = same->second;
    else
      for (const auto& [place, d] : doubts)
        if (const double dx = place.x - q.x, dy = place.y - q.y, apart2 = dx * dx + dy * dy; apart2 < best) best = apart2, doubt = d;
    margin.doubt_px.push_back(doubt);
  }
  return margin;
}

}  // namespace

Result<Margin> refine(const cv::Mat& bgr, const Margin& present, const std::vector<Stroke>& keep, const std::vector<Stroke>& drop,
                      const FinderOptions& options) {
  if (auto refusal = refused_photo(bgr)) return *refusal;
  if (auto refusal = refused_options(options)) return *refusal;
  if (auto fault = find_fault(present.outline))
    return Refusal{"margin-invalid", "the present margin is not valid: " + fault->text, "repair it first"};
  std::vector<ImagePoint> all;
  for (const auto* strokes : {&keep, &drop})
    for (const auto& stroke : *strokes)
      for (const auto& p : stroke) {
        if (!std::isfinite(p.x) || !std::isfinite(p.y))
          return Refusal{"stroke-points", "a stroke has a point that is not a number", "draw the stroke again"};
        if (p.x < -0.5 || p.y < -0.5 || p.x > bgr.cols - 0.5 || p.y > bgr.rows - 0.5)
          return Refusal{"stroke-outside", "a stroke leaves the photo", "draw the stroke within the photo"};
        all.push_back(p);
      }
  if (all.empty()) return present;
  if (contradiction(keep, drop)) return Refusal{"strokes-contradict", "a stroke to keep crosses a stroke to leave out", "take one of the two back"};

  ImageOutline outline = present.outline;
  std::vector<std::pair<ImagePoint, double>> doubts;
  bool left = false;
  const auto every = [&](const auto& f) {
    for (const auto& stroke : keep) f(stroke, true);
    for (const auto& stroke : drop) f(stroke, false);
  };
  every([&](const Stroke& stroke, bool wound) {
    if (stroke.empty() || followed(outline, stroke, wound)) return;
    const auto moved = moved_along(bgr, outline, stroke, wound);
    // What other strokes have settled is not undone.
    bool undone = !moved;
    every([&](const Stroke& other, bool as_wound) { undone = undone || (followed(outline, other, as_wound) && !followed(moved->outline, other, as_wound)); });
    if (undone || !followed(moved->outline, stroke, wound)) {
      left = true;
      return;
    }
    outline = moved->outline;
    doubts.insert(doubts.end(), moved->doubts.begin(), moved->doubts.end());
  });
  if (left) {
    Margin so_far = present;
    so_far.outline = outline;
    auto solved = cut_again(bgr, so_far, keep, drop, options);
    if (!solved) return solved.refusal();
    outline = solved->outline;
    doubts.insert(doubts.end(), solved->doubts.begin(), solved->doubts.end());
  }
  if (outline == present.outline) return present;
  largest_first(outline);
  return margin_of(present, outline, std::move(doubts));
}

}  // namespace uroko::margin
