#include <cmath>
#include <stdexcept>

#include "skin.h"
#include "solid.h"
#include "uroko/base/random.h"
#include "uroko/scale/card.h"

namespace uroko::scenes {

namespace {

double radius_share(const Ulcer& u, double theta) {
  double share = 1;
  for (const auto& h : u.harmonics) share += h.amplitude * std::cos(h.k * theta + h.phase);
  return share;
}

/// The margin's point at theta relative to the centre.
Eigen::Vector2d margin_at(const Ulcer& u, double theta) {
  const double r = u.radius_mm * radius_share(u, theta), stretch = std::sqrt(u.elongation), turn = u.turn_deg * M_PI / 180;
  const double a = r * std::cos(theta) * stretch, b = r * std::sin(theta) / stretch;
  return {a * std::cos(turn) - b * std::sin(turn), a * std::sin(turn) + b * std::cos(turn)};
}

ImagePoint seen(const Solid& solid, const Eigen::Vector3d& body) {
  const auto p = solid.project(body);
  if (!p) throw std::invalid_argument("a part of the scene lies behind the camera");
  return *p;
}

}  // namespace

Ulcer irregular_ulcer(SkinPoint centre, double radius_mm, double roughness, std::uint64_t seed) {
  Random random(seed);
  Ulcer u;
  u.centre = centre;
  u.radius_mm = radius_mm;
  u.elongation = random.uniform(1, 1.6);
  u.turn_deg = random.uniform(0, 180);
  u.seed = seed;
  // Amplitudes fall with k as on traced margins; scaled to the RMS asked for: sum a^2 / 2 = roughness^2.
  double power = 0;
  for (int k = 2; k <= 8; ++k) {
    const double a = random.uniform(0.4, 1) / std::pow(k, 1.2);
    u.harmonics.push_back({k, a, random.uniform(0, 2 * M_PI)});
    power += a * a / 2;
  }
  for (auto& h : u.harmonics) h.amplitude *= roughness / std::sqrt(power);
  return u;
}

double area_mm2(const Ulcer& u) {
  double power = 0;
  for (const auto& h : u.harmonics) power += h.amplitude * h.amplitude / 2;
  return M_PI * u.radius_mm * u.radius_mm * (1 + power);
}

double perimeter_mm(const Ulcer& u) {
  constexpr int n = 4096;
  const double stretch = std::sqrt(u.elongation);
  double sum = 0;
  for (int i = 0; i < n; ++i) {
    const double t = 2 * M_PI * i / n, r = radius_share(u, t);
    double dr = 0;
    for (const auto& h : u.harmonics) dr -= h.amplitude * h.k * std::sin(h.k * t + h.phase);
    sum += std::hypot((dr * std::cos(t) - r * std::sin(t)) * stretch, (dr * std::sin(t) + r * std::cos(t)) / stretch);
  }
  return sum * 2 * M_PI / n * u.radius_mm;
}

std::vector<SkinPoint> margin(const Ulcer& u, int points) {
  std::vector<SkinPoint> out;
  for (int i = 0; i < points; ++i) {
    const auto d = margin_at(u, 2 * M_PI * i / points);
    out.push_back({u.centre.x + d.x(), u.centre.s + d.y()});
  }
  return out;
}

double level(const Ulcer& u, const SkinPoint& p) {
  const double dx = p.x - u.centre.x, ds = p.s - u.centre.s, turn = u.turn_deg * M_PI / 180, stretch = std::sqrt(u.elongation);
  const double a = (dx * std::cos(turn) + ds * std::sin(turn)) / stretch, b = (-dx * std::sin(turn) + ds * std::cos(turn)) * stretch;
  const double rho = std::hypot(a, b);
  return rho == 0 ? 0 : rho / (u.radius_mm * radius_share(u, std::atan2(b, a)));
}

scale::Camera pinhole(int width_px, int height_px, double focal_px, double k1, double k2, double p1, double p2) {
  scale::Camera c;
  c.from = scale::Camera::From::profile;
  c.fx = c.fy = focal_px;
  c.cx = (width_px - 1) / 2.0;
  c.cy = (height_px - 1) / 2.0;
  c.k1 = k1, c.k2 = k2, c.p1 = p1, c.p2 = p2;
  c.focal_relative_u = 0.002;
  return c;
}

std::optional<ImagePoint> pixel_of(const Scene& scene, const SkinPoint& p) {
  const Solid solid(scene);
  if (!solid.faces_camera(p)) return std::nullopt;
  return solid.project(solid.frame(p).at);
}

std::optional<SkinPoint> skin_at(const Scene& scene, const ImagePoint& pixel) {
  const Solid solid(scene);
  return solid.skin_hit(solid.ray(pixel));
}

ImagePoint pixel_of_card(const Scene& scene, const PlanePoint& p) {
  if (!scene.card) throw std::invalid_argument("the scene has no card");
  const Solid solid(scene);
  return seen(solid, solid.on_card(p));
}

Truth truth_of(const Scene& scene) {
  const Solid solid(scene);
  Truth truth;
  if (scene.ulcer) {
    Ring<ImagePoint> ring;
    for (const auto& p : margin(*scene.ulcer)) {
      if (!solid.faces_camera(p)) throw std::invalid_argument("a part of the margin lies on the side that the camera does not see");
      ring.push_back(seen(solid, solid.frame(p).at));
      truth.wrap_deg = std::max(truth.wrap_deg, std::abs(solid.turn(p.s)) * 180 / M_PI);
    }
    truth.outline.parts.push_back({std::move(ring), {}});
    truth.area_mm2 = scenes::area_mm2(*scene.ulcer);
    truth.perimeter_mm = scenes::perimeter_mm(*scene.ulcer);
    if (scene.detail == Detail::full) truth.shares = Skin(scene).shares(40000);
  }
  if (scene.card) {
    const auto& layout = scale::card_layout();
    for (const PlanePoint& p : {PlanePoint{0, 0}, {layout.width_mm, 0}, {layout.width_mm, layout.height_mm}, {0, layout.height_mm}})
      truth.card_corners.push_back(seen(solid, solid.on_card(p)));
    truth.card_pose = solid.card_pose();
  }
  const double x = scene.view.aim.x;
  truth.midline = {seen(solid, solid.frame({x - 20, 0}).at), seen(solid, solid.frame({x + 20, 0}).at)};
  return truth;
}

}  // namespace uroko::scenes
