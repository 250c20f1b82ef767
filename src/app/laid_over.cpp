#include "app/laid_over.h"

#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

namespace uroko::app {

namespace {

constexpr int half_cells = 100;

/// 255 in the cells of the outline, its holes out; `to` in the middle, `reach` mm to each side. Vertices nearer than a cell to the one before are left out.
cv::Mat cells_of(const PlaneOutline& outline, const PlanePoint& to, double reach) {
  constexpr int shift = 4;
  const double scale = half_cells / reach * (1 << shift);
  std::vector<std::vector<cv::Point>> rings;
  const auto add = [&](const Ring<PlanePoint>& ring) {
    auto& cells = rings.emplace_back();
    const PlanePoint* last = nullptr;
    for (const auto& p : ring) {
      if (last && distance(*last, p) < reach / half_cells) continue;
      last = &p;
      cells.emplace_back(static_cast<int>(std::lround((p.x - to.x) * scale)) + (half_cells << shift), static_cast<int>(std::lround((p.y - to.y) * scale)) + (half_cells << shift));
    }
  };
  for (const auto& part : outline.parts) {
    add(part.outer);
    for (const auto& hole : part.holes) add(hole);
  }
  cv::Mat out = cv::Mat::zeros(2 * half_cells + 1, 2 * half_cells + 1, CV_8U);
  cv::fillPoly(out, rings, 255, cv::LINE_8, shift);
  return out;
}

double reach_of(const PlaneOutline& outline, const PlanePoint& centre) {
  double out = 0;
  for (const auto& part : outline.parts)
    for (const auto& p : part.outer) out = std::max(out, distance(p, centre));
  return out;
}

}  // namespace

PlaneOutline laid_over(const PlaneOutline& outline, const PlaneOutline& under) {
  // The card lies differently at each visit: centres are brought together, then the turn that overlaps best is taken.
  const auto c = centroid(outline), to = centroid(under);
  const auto turned = [&](double a) {
    const double cs = std::cos(a), sn = std::sin(a);
    return mapped<PlanePoint, PlanePoint>(outline, [=](const PlanePoint& p) {
      const double x = p.x - c.x, y = p.y - c.y;
      return PlanePoint{to.x + cs * x - sn * y, to.y + sn * x + cs * y};
    });
  };
  const double reach = std::max(reach_of(outline, c), reach_of(under, to));
  if (!(reach > 0)) return turned(0);
  const cv::Mat below = cells_of(under, to, reach);
  double best = 0, best_score = -1;
  for (int i = -12; i < 12; ++i) {
    const double a = i * std::numbers::pi / 12;
    const double score = cv::countNonZero(cells_of(turned(a), to, reach) & below) * (1 - 0.02 * std::abs(i));
    if (score > best_score) {
      best_score = score;
      best = a;
    }
  }
  return turned(best);
}

}  // namespace uroko::app
