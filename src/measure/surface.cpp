#include "surface.h"

#include <Eigen/Dense>
#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

namespace uroko::measure {

namespace {

using scale::PlaneMap;
using ToPlane = Homography<ImagePoint, PlanePoint>;

constexpr double kUnknownDistance = 300;
constexpr double kSteepest = M_PI / 3;

PlaneOutline on_plane(const ImageOutline& ideal, const ToPlane& h) {
  return mapped<ImagePoint, PlanePoint>(ideal, [&](const ImagePoint& p) { return h(p); });
}

ImageOutline undistorted(const ImageOutline& outline, const scale::Camera& camera) {
  return mapped<ImagePoint, ImagePoint>(outline, [&](const ImagePoint& p) { return camera.undistorted(p); });
}

/// What an input's standard uncertainty does to f, from its values at +-u: the scatter to second order (GUM 5.1.2, note), and the mean of f
/// over the input's scatter less f in its middle, f'' u^2 / 2.
struct Effect {
  double u = 0, excess = 0;
};
Effect effect(double middle, const std::optional<double>& up, const std::optional<double>& down) {
  if (up && down) {
    const double slope = (*up - *down) / 2, bend = *up + *down - 2 * middle;
    return {std::sqrt(slope * slope + bend * bend / 2), bend / 2};
  }
  // One side refuses (the wound would wrap too far): the other side's step stands for both.
  if (up || down) return {std::abs((up ? *up : *down) - middle), 0};
  return {};
}
double contribution(double middle, const std::optional<double>& up, const std::optional<double>& down) { return effect(middle, up, down).u; }

/// A grid over a reference of four corners; nothing for any other.
std::vector<PlanePoint> grid_over(const std::vector<PlanePoint>& corners) {
  std::vector<PlanePoint> out;
  if (corners.size() != 4) return out;
  constexpr int kGrid = 5;
  for (int i = 0; i < kGrid; ++i)
    for (int j = 0; j < kGrid; ++j) {
      const double u = static_cast<double>(i) / (kGrid - 1), v = static_cast<double>(j) / (kGrid - 1);
      const auto blend = [&](auto member) {
        return (1 - v) * ((1 - u) * corners[0].*member + u * corners[1].*member) + v * ((1 - u) * corners[3].*member + u * corners[2].*member);
      };
      out.push_back({blend(&PlanePoint::x), blend(&PlanePoint::y)});
    }
  return out;
}

}  // namespace

Result<Surface> plane_surface(const PlaneMap& map, const ImageOutline& outline) {
  Surface out;
  const Refusal beyond{"beyond-horizon", "the margin lies beyond the reference plane's horizon",
                       "photograph the wound more squarely, with the reference beside it"};
  // One sign of the homography's denominator over the margin and the reference: else the horizon runs between them.
  const auto ideal = undistorted(outline, map.camera);
  const auto& m = map.plane_from_ideal.matrix();
  int side = 0;
  const auto same_side = [&](const ImagePoint& p) {
    const double w = m(2, 0) * p.x + m(2, 1) * p.y + m(2, 2);
    const int s = w > 0 ? 1 : w < 0 ? -1 : 0;
    if (side == 0) side = s;
    return s != 0 && s == side;
  };
  for (const auto& p : map.reference)
    if (!same_side(map.camera.undistorted(p))) return beyond;
  for (const auto& part : ideal.parts)
    for (const auto& p : part.outer)
      if (!same_side(p)) return beyond;
  out.outline_mm = on_plane(ideal, map.plane_from_ideal);
  out.area_mm2 = area(out.outline_mm);
  if (!(out.area_mm2 > 0) || !std::isfinite(out.area_mm2) || out.area_mm2 > 1e8) return beyond;
  return out;
}

PresumedAxis presumed_axis(const PlaneMap& map, const ImageOutline& outline) {
  constexpr double kLaid = 10 * M_PI / 180, kHeightMm = 15, kAstray = M_PI / 6;
  PresumedAxis axis{0, kLaid};
  if (map.reference_mm.empty()) return axis;
  PlanePoint low{1e300, 1e300}, high{-1e300, -1e300};
  for (const auto& p : map.reference_mm) {
    low = {std::min(low.x, p.x), std::min(low.y, p.y)};
    high = {std::max(high.x, p.x), std::max(high.y, p.y)};
  }
  const auto wound = map.to_plane(centroid(outline));
  const double dx = wound.x - (low.x + high.x) / 2, dy = wound.y - (low.y + high.y) / 2, away = std::hypot(dx, dy);
  if (!(away > kHeightMm)) return axis;
  const bool wide = high.x - low.x >= high.y - low.y;
  double line = wide ? std::atan2(dy, dx) : std::atan2(-dx, dy);
  // The axis has no head or tail here.
  line -= M_PI * std::round(line / M_PI);
  // Further apart than both clues' scatter explains, the second is none: the reference lies above or below the wound. From 30 degrees to 60 it fades.
  const double fading = std::clamp(std::abs(line) / kAstray - 1, 0.0, 1.0), worth = std::pow(1 - fading * fading, 2);
  const double laid = 1 / (kLaid * kLaid), height = worth / std::pow(std::atan2(kHeightMm, away), 2);
  axis.turn = line * height / (laid + height);
  axis.u = 1 / std::sqrt(laid + height);
  return axis;
}

scale::FlankSetup setup_of(const Body& body, const PlaneMap& map, const ImageOutline& outline) {
  scale::FlankSetup setup;
  setup.depth_mm = body.depth_mm;
  setup.width_mm = body.width_mm;
  setup.midline = body.midline;
  if (!body.midline) setup.axis_turn = presumed_axis(map, outline).turn;
  return setup;
}

Result<Surface> flank_surface(const PlaneMap& map, const ImageOutline& outline, const scale::FlankSetup& setup) {
  const auto flank = scale::Flank::fit(map, setup);
  if (!flank) return flank.refusal();
  bool missed = false, steep = false;
  Surface out;
  out.outline_mm = mapped<ImagePoint, PlanePoint>(outline, [&](const ImagePoint& p) {
    const auto spot = (*flank)(p);
    if (!spot) {
      missed = true;
      return PlanePoint{};
    }
    steep = steep || std::abs(spot->angle) > kSteepest || spot->incidence > kSteepest;
    return spot->unrolled;
  });
  if (missed || steep)
    return Refusal{"wraps",
                   missed ? "the margin reaches past the edge of the visible body" : "the wound wraps beyond 60 degrees of the visible flank",
                   "take the photo square to the wound with the card beside it, or measure its parts in photos of their own"};
  out.area_mm2 = area(out.outline_mm);
  if (!(out.area_mm2 > 0) || !std::isfinite(out.area_mm2))
    return Refusal{"body", "the wound has no area on such a body", "check the body's depth and width and the midline"};
  return out;
}

double plane_distance_mm(const PlaneMap& map) {
  return map.pose ? std::max(30.0, std::abs(map.pose->rotation.col(2).dot(map.pose->translation_mm))) : kUnknownDistance;
}

double incidence_at(const PlaneMap& map, const ImagePoint& photo) {
  if (!map.pose) return 0;
  const auto p = map.camera.undistorted(photo);
  const Eigen::Vector3d ray((p.x - map.camera.cx) / map.camera.fx, (p.y - map.camera.cy) / map.camera.fy, 1);
  return std::acos(std::clamp(std::abs(ray.normalized().dot(map.pose->rotation.col(2))), 0.0, 1.0));
}

std::optional<PlaneMap> with_camera(const PlaneMap& map, const scale::Camera& camera) {
  const auto at = map.fitted_mm.empty() ? grid_over(map.reference_mm) : map.fitted_mm;
  if (at.size() < 4 || map.points < 4) return std::nullopt;
  PlaneMap out = map;
  out.camera = camera;
  std::vector<ImagePoint> seen;
  seen.reserve(at.size());
  for (const auto& p : at) seen.push_back(camera.undistorted(map.to_image(p)));
  const auto fit = fit_homography(seen, at);
  if (!fit) return std::nullopt;
  out.plane_from_ideal = fit->to_from;
  if (map.pose) scale::find_pose(out);
  return out;
}

double u_of_scale(const PlaneMap& map, const ImageOutline& outline) {
  const auto ideal = undistorted(outline, map.camera);
  Eigen::Matrix<double, 8, 1> gradient;
  double reach = 1;
  for (const auto& part : ideal.parts)
    for (const auto& p : part.outer) reach = std::max({reach, std::abs(p.x), std::abs(p.y)});
  for (int k = 0; k < 8; ++k) {
    const int row = k / 3, column = k % 3;
    Eigen::Matrix3d m = map.plane_from_ideal.matrix();
    const double linear = m.topLeftCorner<2, 2>().cwiseAbs().maxCoeff();
    // Each step moves the margin by about the same share of its distance from the origin.
    const double step = 1e-5 * (row == 2 ? 1 / reach : column == 2 ? linear * reach : linear);
    m(row, column) += step;
    const double up = area(on_plane(ideal, ToPlane(m)));
    m(row, column) -= 2 * step;
    const double down = area(on_plane(ideal, ToPlane(m)));
    gradient(k) = (up - down) / (2 * step);
  }
  return std::sqrt(std::max(0.0, gradient.dot(map.covariance * gradient)));
}

double u_of_lean(const PlaneMap& map, const ImageOutline& outline, double u_rad) {
  if (!map.pose || !(u_rad > 0) || map.reference_mm.empty()) return 0;
  const auto ideal = undistorted(outline, map.camera);
  PlanePoint middle{};
  for (const auto& p : map.reference_mm) {
    middle.x += p.x / static_cast<double>(map.reference_mm.size());
    middle.y += p.y / static_cast<double>(map.reference_mm.size());
  }
  const Eigen::Vector3d pivot(middle.x, middle.y, 0);
  Eigen::Matrix3d k;
  k << map.camera.fx, 0, map.camera.cx, 0, map.camera.fy, map.camera.cy, 0, 0, 1;
  const auto leaning = [&](const Eigen::Vector3d& axis, double angle) -> std::optional<double> {
    const Eigen::Matrix3d r = map.pose->rotation * Eigen::AngleAxisd(angle, axis).toRotationMatrix();
    const Eigen::Vector3d t = map.pose->translation_mm + map.pose->rotation * pivot - r * pivot;
    Eigen::Matrix3d h;
    h << r.col(0), r.col(1), t;
    const double a = area(on_plane(ideal, ToPlane((k * h).inverse())));
    return std::isfinite(a) ? std::optional<double>(a) : std::nullopt;
  };
  double variance = 0;
  for (const Eigen::Vector3d& axis : {Eigen::Vector3d(1, 0, 0), Eigen::Vector3d(0, 1, 0)}) {
    const auto level = leaning(axis, 0);
    if (level) variance += std::pow(contribution(*level, leaning(axis, u_rad), leaning(axis, -u_rad)), 2);
  }
  return std::sqrt(variance);
}

double u_of_lens(const PlaneMap& map, const ImageOutline& outline, const MeasureOptions& options) {
  const double u = options.k1_u.value_or(map.camera.k1_doubt());
  const auto with = [&](double k1, double focal) -> std::optional<double> {
    auto camera = map.camera;
    camera.k1 += k1;
    camera.fx *= 1 + focal;
    camera.fy *= 1 + focal;
    const auto other = with_camera(map, camera);
    if (!other) return std::nullopt;
    const auto surface = options.body ? flank_surface(*other, outline, setup_of(*options.body, *other, outline)) : plane_surface(*other, outline);
    return surface ? std::optional<double>(surface->area_mm2) : std::nullopt;
  };
  const auto middle = with(0, 0);
  if (!middle) return 0;
  double variance = 0;
  if (u > 0 && map.camera.fx > 0) variance += std::pow(contribution(*middle, with(u, 0), with(-u, 0)), 2);
  // On a plane the focal length cancels out of the homography.
  const double focal = map.camera.focal_relative_u;
  if (options.body && focal > 0) variance += std::pow(contribution(*middle, with(0, focal), with(0, -focal)), 2);
  return std::sqrt(variance);
}

BodyEffect effect_of_body(const PlaneMap& map, const ImageOutline& outline, const Body& body, double area_mm2) {
  const auto nominal = setup_of(body, map, outline);
  const auto with = [&](auto&& change) -> std::optional<double> {
    auto setup = nominal;
    change(setup);
    const auto surface = flank_surface(map, outline, setup);
    return surface ? std::optional<double>(surface->area_mm2) : std::nullopt;
  };
  double variance = 0;
  BodyEffect out;
  // The wound is as large as it is, whatever is entered and wherever the card touches: an error d of an input gives the area f(d) for f(0), so
  // that over its scatter the area is too large by f'' u^2 / 2.
  const auto source = [&](double u, auto&& change, double sign = 1) {
    if (!(u > 0)) return;
    const auto e = effect(area_mm2, with([&](auto& s) { change(s, u); }), with([&](auto& s) { change(s, -u); }));
    variance += e.u * e.u;
    out.excess_mm2 += sign * e.excess;
  };
  source(body.half_axes_relative_u, [](auto& s, double d) { s.depth_mm *= 1 + d; });
  source(body.half_axes_relative_u, [](auto& s, double d) { s.width_mm *= 1 + d; });
  source(body.contact_u_mm, [](auto& s, double d) { s.contact_mm += d; });
  if (body.midline) {
    source(body.midline_u_mm, [](auto& s, double d) { s.midline_shift_mm += d; });
  } else {
    // Nothing is read here, only presumed: the true axis and contact scatter about what is presumed, and the area that each of them would give is
    // on average larger than at the presumed ones by f'' u^2 / 2.
    const double axis_u = presumed_axis(map, outline).u, angle_u = 20 * M_PI / 180;
    const auto turn = [](auto& s, double d) { s.axis_turn += d; };
    const auto angle = [](auto& s, double d) { s.contact_angle += d; };
    const auto contact = [](auto& s, double d) { s.contact_mm += d; };
    source(axis_u, turn, -1);
    source(angle_u, angle, -1);
    // A wound at the presumed axis changes with none of them at first order; what two do together then counts as much as what each does (f_xy u_x u_y).
    const auto together = [&](double u, auto&& one, double v, auto&& other) {
      double sum = 0;
      for (const int i : {1, -1})
        for (const int j : {1, -1}) {
          const auto a = with([&](auto& s) { one(s, i * u), other(s, j * v); });
          if (!a) return;
          sum += i * j * *a;
        }
      variance += std::pow(sum / 4, 2);
    };
    together(axis_u, turn, angle_u, angle);
    together(axis_u, turn, body.contact_u_mm, contact);
    together(angle_u, angle, body.contact_u_mm, contact);
  }
  out.u_mm2 = std::sqrt(variance);
  return out;
}

EdgeU edge_uncertainty(const PlaneMap& map, const margin::Margin& margin) {
  double variance = 0, shift = 0, length = 0;
  const auto ring_sum = [&](const Ring<ImagePoint>& ring, const std::vector<double>& doubt, double typical_px) {
    const std::size_t n = ring.size();
    for (std::size_t i = 0; i < n; ++i) {
      const auto &a = ring[i], &b = ring[(i + 1) % n];
      const ImagePoint middle{(a.x + b.x) / 2, (a.y + b.y) / 2};
      const double px = distance(a, b);
      if (!(px > 0)) continue;
      const auto pa = map.to_plane(a), pb = map.to_plane(b);
      const double along_mm = distance(pa, pb), mm2_a_px2 = std::pow(map.mm_per_px(middle), 2);
      // An edge moved by d px across itself in the photo sweeps d px px^2, that is d px mm2_a_px2, on the plane, seen squarely or not.
      const double sigma_px = doubt.size() == n ? (doubt[i] + doubt[(i + 1) % n]) / 2 : typical_px;
      variance += std::pow(sigma_px * mm2_a_px2, 2) * margin.correlation_px * px;
      shift += margin.common_px * px * mm2_a_px2;
      length += along_mm;
    }
  };
  double typical = 0;
  for (const double d : margin.doubt_px) typical += d / static_cast<double>(margin.doubt_px.size());
  for (std::size_t i = 0; i < margin.outline.parts.size(); ++i) {
    const auto& part = margin.outline.parts[i];
    ring_sum(part.outer, i == 0 ? margin.doubt_px : std::vector<double>{}, typical);
    for (const auto& hole : part.holes) ring_sum(hole, {}, typical);
  }
  return {std::sqrt(variance), shift, length > 0 ? shift / length : 0};
}

}  // namespace uroko::measure
