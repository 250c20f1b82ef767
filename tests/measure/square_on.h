#pragma once
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <string>

#include "uroko/measure/measure.h"

namespace uroko::testing {

/// A reference seen square on from 300 mm, 10 px a millimetre; `sigma_px`: noise stated for its points.
inline scale::PlaneMap square_on(double sigma_px = 0) {
  scale::PlaneMap map;
  map.camera.from = scale::Camera::From::profile;
  map.camera.fx = map.camera.fy = 3000;
  map.camera.cx = 1500;
  map.camera.cy = 1000;
  map.camera.focal_relative_u = 0.002;
  std::vector<ImagePoint> seen;
  std::vector<PlanePoint> at;
  for (int i = 0; i < 8; ++i)
    for (int j = 0; j < 4; ++j) {
      at.push_back({10.0 * i, 10.0 * j});
      seen.push_back({700 + 100.0 * i, 800 + 100.0 * j});
    }
  const auto fit = fit_homography(seen, at, sigma_px);
  REQUIRE(fit);
  map.plane_from_ideal = fit->to_from;
  map.covariance = fit->covariance;
  map.points = static_cast<int>(at.size());
  map.reference_mm = {{0, 0}, {70, 0}, {70, 30}, {0, 30}};
  for (const auto& p : map.reference_mm) map.reference.push_back(map.to_image(p));
  scale::find_pose(map);
  return map;
}

inline margin::Margin disc_margin(double radius_px, double x = 1700, double y = 1000, int n = 200) {
  margin::Margin margin;
  margin.outline.parts.push_back({});
  for (int i = 0; i < n; ++i)
    margin.outline.parts[0].outer.push_back({x + radius_px * std::cos(2 * M_PI * i / n), y + radius_px * std::sin(2 * M_PI * i / n)});
  return margin;
}

inline measure::MeasureOptions nothing_allowed() {
  measure::MeasureOptions o;
  o.plane_offset_u_mm = 0;
  o.plane_tilt_u_deg = 0;
  o.skin_radius_mm = std::numeric_limits<double>::infinity();
  o.k1_u = 0;
  return o;
}

inline double line(const measure::Measurement& m, const std::string& source) {
  for (const auto& l : m.budget)
    if (l.source == source) return l.u_mm2;
  return 0;
}

inline bool warns(const measure::Measurement& m, const std::string& code) {
  return std::any_of(m.warnings.begin(), m.warnings.end(), [&](const auto& w) { return w.code == code; });
}

}  // namespace uroko::testing
