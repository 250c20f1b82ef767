// Corrective strokes: only the margin near a stroke is solved again; elsewhere its vertices stay as they are.
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "margin/coarse.h"
#include "margin/colour_model.h"
#include "margin/finder.h"
#include "margin/geodesic.h"
#include "margin/raster.h"

namespace uroko::margin {

namespace {

double from_outline(const ImageOutline& outline, const ImagePoint& p) {
  double best = 1e300;
  const auto ring_distance = [&](const Ring<ImagePoint>& ring) {
    for (std::size_t i = 0; i < ring.size(); ++i) {
      const auto &a = ring[i], &b = ring[(i + 1) % ring.size()];
      const double vx = b.x - a.x, vy = b.y - a.y, l2 = vx * vx + vy * vy;
      const double t = l2 > 0 ? std::clamp(((p.x - a.x) * vx + (p.y - a.y) * vy) / l2, 0.0, 1.0) : 0;
      best = std::min(best, std::hypot(p.x - a.x - t * vx, p.y - a.y - t * vy));
    }
  };
  for (const auto& part : outline.parts) {
    ring_distance(part.outer);
    for (const auto& hole : part.holes) ring_distance(hole);
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

  // Each wrong stroke may move the margin as far as the stroke itself reaches beyond it, and half as far again to either side.
  const double radius = radius_of(present.outline);
  ImageOutline region;
  const auto add_region = [&](const std::vector<Stroke>& strokes, bool inside) {
    for (const auto& stroke : strokes) {
      double reach = 0;
      for (const auto& p : stroke)
        if (contains(present.outline, p) != inside) reach = std::max(reach, from_outline(present.outline, p));
      if (reach <= 0) continue;
      const double r = 1.6 * reach + std::max(3.0, 0.08 * radius);
      for (const auto& p : stroke) {
        Ring<ImagePoint> ring;
        for (int i = 0; i < 32; ++i) ring.push_back({p.x + r * std::cos(2 * CV_PI * i / 32), p.y + r * std::sin(2 * CV_PI * i / 32)});
        const ImageOutline disc{{{ring, {}}}};
        region = region.empty() ? disc : united(region, disc);
      }
    }
  };
  add_region(keep, true);
  add_region(drop, false);
  if (region.empty()) return present;

  const auto both = united(region, present.outline);
  const Crop crop = make_crop(bgr, box_of(both, 0.15), options.crop_side_px);
  const auto size = crop.bgr.size();
  const cv::Mat now = filled(crop.in_crop(present.outline), size), open = filled(crop.in_crop(region), size);
  const double brush = std::max(0.75, 1.0 * crop.scale());
  const auto strokes_mask = [&](const std::vector<Stroke>& strokes) {
    cv::Mat mask = cv::Mat::zeros(size, CV_8U);
    for (const auto& stroke : strokes) {
      std::vector<ImagePoint> local;
      for (const auto& p : stroke) local.push_back(crop.in_crop(p));
      mask |= stroked(local, brush, size);
    }
    return mask;
  };
  const cv::Mat must = strokes_mask(keep), never = strokes_mask(drop);
  const cv::Mat lab = lab_of(crop.bgr);
  cv::Mat wi, wo;
  // Colours: the present halves outside the region, and the strokes, which count as much as a tenth of them.
  cv::Mat sure_in = now & ~open, sure_out = ~now & ~open;
  sure_in.convertTo(wi, CV_32F, 1.0 / 255);
  sure_out.convertTo(wo, CV_32F, 1.0 / 255);
  const auto weigh = [&](cv::Mat& w, const cv::Mat& stroke) {
    const double n = cv::countNonZero(stroke);
    if (n > 0) w.setTo(std::max(1.0, 0.3 * cv::sum(w)[0] / n), stroke);
  };
  wi.setTo(0, never);
  wo.setTo(0, must);
  weigh(wi, must);
  weigh(wo, never);
  cv::Mat p = ColourModel(lab, wi, wo).posterior(lab);
  cv::GaussianBlur(p, p, {}, 1);
  const cv::Mat inside_seeds = (sure_in | must) & ~never, outside_seeds = (sure_out | never) & ~must;
  const cv::Mat df = geodesic_distance(p, inside_seeds), db = geodesic_distance(p, outside_seeds);
  cv::Mat found = df < db;
  cv::Mat level;
  found.convertTo(level, CV_32F, 1.0 / 255);
  cv::GaussianBlur(level, level, {}, 0.8);
  auto solved = crop.in_photo(outline_at(level, 0.5f, 4));
  if (solved.empty()) return Refusal{"nothing-left", "the strokes leave nothing of the wound", "take the last stroke back"};
  if (find_fault(solved)) solved = made_valid(solved);
  // Spliced: the new solution counts inside the region only.
  auto joined = united(difference(present.outline, region), intersection(solved, region));
  if (joined.empty()) return Refusal{"nothing-left", "the strokes leave nothing of the wound", "take the last stroke back"};
  std::sort(joined.parts.begin(), joined.parts.end(),
            [](const auto& a, const auto& b) { return std::abs(signed_area(a.outer)) > std::abs(signed_area(b.outer)); });
  Margin margin = present;
  margin.outline = joined;
  margin.proposal = false;
  double typical = 0;
  for (const double d : present.doubt_px) typical += d / static_cast<double>(present.doubt_px.size());
  margin.doubt_px.assign(joined.parts.front().outer.size(), typical);
  for (std::size_t i = 0; i < margin.doubt_px.size() && !present.doubt_px.empty(); ++i) {
    const auto& q = joined.parts.front().outer[i];
    const auto& ring = present.outline.parts.front().outer;
    double best = 1e300;
    for (std::size_t k = 0; k < ring.size() && k < present.doubt_px.size(); ++k)
      if (const double d = distance(ring[k], q); d < best) best = d, margin.doubt_px[i] = present.doubt_px[k];
  }
  return margin;
}

}  // namespace uroko::margin
