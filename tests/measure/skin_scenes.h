#pragma once
#include <cmath>
#include <optional>

#include "uroko/measure/skin_match.h"
#include "uroko/scale/references.h"
#include "uroko/scenes/sample_case.h"
#include "uroko/scenes/scene.h"

namespace uroko::testing {

/// One visit as the program has it (photo, the card found in it, the margin), and the scene behind it.
struct SkinVisit {
  scenes::Scene scene;
  cv::Mat bgr;
  scale::PlaneMap map;
  ImageOutline outline;
  std::shared_ptr<const measure::SkinPattern> pattern() const { return std::make_shared<measure::SkinPattern>(measure::read_skin(bgr, 1, map, outline)); }
};

inline std::optional<SkinVisit> photographed(const scenes::Scene& scene, const scenes::Noise& noise) {
  SkinVisit out{scene, scenes::render(scene, noise), {}, scenes::truth_of(scene).outline};
  auto map = scale::find_card(out.bgr, scene.view.camera);
  if (!map) return std::nullopt;
  out.map = std::move(map).value();
  return out;
}

/// A flank of the sample fish seen in 1600 x 1200 px; `nth` turns, tilts and lights each view in its own way, `area` is the wound's share of its first.
inline scenes::Scene skin_view(int nth, double area, std::uint64_t coat = 17) {
  auto scene = scenes::sample_case().visits.at(static_cast<std::size_t>(nth) % 8).scene;
  scene.coat.seed = coat;
  auto& view = scene.view;
  view.width_px = 1600;
  view.height_px = 1200;
  view.camera = scenes::pinhole(1600, 1200, 35 * std::hypot(1600, 1200) / 43.27, -0.012, 0.004);
  view.roll_deg += 11.0 * (nth % 5) - 22;
  scene.ulcer = scenes::irregular_ulcer({21, 9}, 12 * std::sqrt(area), 0.115, 23);
  scene.ulcer->rim_strength = 0.3 + 0.5 * area;
  return scene;
}

struct SkinError {
  double turn_deg = 0;    ///< of the found turn against the best turn of the truth, near the wound
  double shift_mm = 0;    ///< at the wound's middle
  double margin_mm = 0;   ///< largest over the true margin
};

/// The truth: the same points of the skin, seen through both photos' own plane maps. What the maps err by is in both and cancels only in part.
inline SkinError skin_error(const SkinVisit& from, const SkinVisit& to, const measure::SkinMotion& motion) {
  SkinError e;
  PlanePoint f, t;
  std::vector<std::pair<PlanePoint, PlanePoint>> ring;
  for (const auto& p : scenes::margin(*from.scene.ulcer, 72)) {
    const auto a = scenes::pixel_of(from.scene, p), b = scenes::pixel_of(to.scene, p);
    if (!a || !b) continue;
    ring.emplace_back(from.map.to_plane(*a), to.map.to_plane(*b));
    const auto at = motion(ring.back().first);
    e.margin_mm = std::max(e.margin_mm, distance(at, ring.back().second));
    f.x += ring.back().first.x, f.y += ring.back().first.y, t.x += ring.back().second.x, t.y += ring.back().second.y;
  }
  const double n = static_cast<double>(ring.size());
  f = {f.x / n, f.y / n}, t = {t.x / n, t.y / n};
  double dot = 0, cross = 0;
  for (const auto& [a, b] : ring) {
    dot += (a.x - f.x) * (b.x - t.x) + (a.y - f.y) * (b.y - t.y);
    cross += (a.x - f.x) * (b.y - t.y) - (a.y - f.y) * (b.x - t.x);
  }
  e.turn_deg = std::abs(std::remainder(motion.turn - std::atan2(cross, dot), 2 * M_PI)) * 180 / M_PI;
  e.shift_mm = distance(motion(f), t);
  return e;
}

}  // namespace uroko::testing
