#include "uroko/measure/measure.h"

#include <algorithm>
#include <cmath>

namespace uroko::measure {

namespace {

using scale::PlaneMap;
using ToPlane = Homography<ImagePoint, PlanePoint>;

/// Distance from the camera to the reference; about an arm's length where the pose is not known (common practice).
double distance_mm(const PlaneMap& map) {
  constexpr double kUnknownDistance = 300;
  return map.pose ? std::max(50.0, map.pose->translation_mm.norm()) : kUnknownDistance;
}

PlaneOutline on_plane(const ImageOutline& ideal, const ToPlane& h) {
  return mapped<ImagePoint, PlanePoint>(ideal, [&](const ImagePoint& p) { return h(p); });
}

/// Gradient of the area by the homography's eight entries, central differences scaled to each entry's own effect.
Eigen::Matrix<double, 8, 1> area_gradient(const ImageOutline& ideal, const ToPlane& h) {
  Eigen::Matrix<double, 8, 1> gradient;
  double reach = 1;
  for (const auto& part : ideal.parts)
    for (const auto& p : part.outer) reach = std::max({reach, std::abs(p.x), std::abs(p.y)});
  for (int k = 0; k < 8; ++k) {
    const int row = k / 3, column = k % 3;
    Eigen::Matrix3d m = h.matrix();
    const double linear = m.topLeftCorner<2, 2>().cwiseAbs().maxCoeff();
    const double step = 1e-5 * (row == 2 ? 1 / reach : column == 2 ? linear * reach : linear);
    m(row, column) += step;
    const double up = area(on_plane(ideal, ToPlane(m)));
    m(row, column) -= 2 * step;
    const double down = area(on_plane(ideal, ToPlane(m)));
    gradient(k) = (up - down) / (2 * step);
  }
  return gradient;
}

/// The area's standard uncertainty from the edge: independent doubt correlated over a stretch, and a shift common to all of it.
struct EdgeU {
  double independent_mm2, common_mm2, common_mm;
};
EdgeU edge_uncertainty(const PlaneMap& map, const margin::Margin& margin) {
  double variance = 0, shift = 0, length = 0;
  const auto ring_sum = [&](const Ring<ImagePoint>& ring, const std::vector<double>& doubt) {
    const std::size_t n = ring.size();
    for (std::size_t i = 0; i < n; ++i) {
      const auto &a = ring[i], &b = ring[(i + 1) % n];
      const double mm = map.mm_per_px({(a.x + b.x) / 2, (a.y + b.y) / 2}), piece_mm = distance(a, b) * mm;
      const double sigma_px = doubt.size() == n ? (doubt[i] + doubt[(i + 1) % n]) / 2 : 0;
      // Integrated along the edge: sigma^2 x correlation length x length.
      variance += std::pow(sigma_px * mm, 2) * (margin.correlation_px * mm) * piece_mm;
      shift += margin.common_px * mm * piece_mm;
      length += piece_mm;
    }
  };
  for (std::size_t i = 0; i < margin.outline.parts.size(); ++i) {
    const auto& part = margin.outline.parts[i];
    ring_sum(part.outer, i == 0 ? margin.doubt_px : std::vector<double>{});
    for (const auto& hole : part.holes) ring_sum(hole, {});
  }
  return {std::sqrt(variance), shift, length > 0 ? shift / length : 0};
}

}  // namespace

Result<Measurement> measure(const PlaneMap& map, const margin::Margin& margin, const MeasureOptions& options) {
  if (const auto fault = find_fault(margin.outline))
    return Refusal{"invalid-margin", fault->text, "redraw the margin so that it encloses the wound once"};

  const ImageOutline ideal =
      mapped<ImagePoint, ImagePoint>(densified(margin.outline, 2.0), [&](const ImagePoint& p) { return map.camera.undistorted(p); });
  Measurement out;
  out.outline_mm = on_plane(ideal, map.plane_from_ideal);
  const double a = area(out.outline_mm);
  if (!(a > 0) || !std::isfinite(a) || a > 1e8)
    return Refusal{"beyond-horizon", "the margin lies beyond the reference plane's horizon",
                   "photograph the wound more squarely, with the reference beside it"};

  const auto gradient = area_gradient(ideal, map.plane_from_ideal);
  const EdgeU edge = edge_uncertainty(map, margin);
  const double u_scale = std::sqrt(std::max(0.0, gradient.dot(map.covariance * gradient)));
  const double u_print = 2 * a * map.scale_relative_u;
  // A plane h nearer or farther scales the area by (Z / (Z -+ h))^2: relative 2 h / Z, more when seen obliquely.
  const double tilt = map.tilt_deg * M_PI / 180;
  const double u_plane = a * 2 * options.plane_offset_u_mm / (distance_mm(map) * std::max(0.3, std::cos(tilt)));
  out.budget = {{"margin shift", edge.common_mm2}, {"margin noise", edge.independent_mm2}, {"scale", u_scale}, {"print", u_print}, {"plane", u_plane}};
  std::stable_sort(out.budget.begin(), out.budget.end(), [](const auto& x, const auto& y) { return x.u_mm2 > y.u_mm2; });
  double variance = 0;
  for (const auto& line : out.budget) variance += line.u_mm2 * line.u_mm2;
  const auto not_negative = [](Estimate e) {
    e.low95 = std::max(0.0, e.low95);
    return e;
  };
  out.area_mm2 = not_negative(symmetric_estimate(a, std::sqrt(variance)));

  // A common shift d changes a caliper by 2 d and a round perimeter by 2 pi d; a scale error of share s changes every length by s.
  const double relative = std::hypot(u_scale, u_print, u_plane) / (2 * a);
  const auto length = [&](double value, double edge_mm) { return not_negative(symmetric_estimate(value, std::hypot(value * relative, edge_mm))); };
  const auto caliper = calipers(out.outline_mm);
  out.length_mm = length(caliper.length, 2 * edge.common_mm);
  out.width_mm = length(caliper.width, 2 * edge.common_mm);
  out.perimeter_mm = length(perimeter(out.outline_mm), 2 * M_PI * edge.common_mm);
  out.warnings = map.warnings;
  out.warnings.insert(out.warnings.end(), margin.warnings.begin(), margin.warnings.end());
  return out;
}

}  // namespace uroko::measure
