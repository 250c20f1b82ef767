#include "scale/map_from_points.h"

#include "uroko/geometry/homography.h"

namespace uroko::scale {

bool fill_from_points(PlaneMap& map, const std::vector<ImagePoint>& seen, const std::vector<PlanePoint>& real, double floor_px, const std::vector<PlanePoint>& corners_mm) {
  const auto ideal = map.camera.undistorted(seen);
  const auto fit = fit_homography<ImagePoint, PlanePoint>(ideal, real, floor_px);
  if (!fit) return false;
  map.plane_from_ideal = fit->to_from;
  map.covariance = fit->covariance;
  // The points told k1 too: one more of their degrees of freedom is spent, and the residual is the smaller for it.
  const double freedom = 2.0 * static_cast<double>(seen.size()) - 8;
  if (map.camera.k1_u && freedom > 4) map.covariance *= freedom / (freedom - 1);
  map.rms_px = fit->rms;
  map.points = static_cast<int>(seen.size());
  map.fitted_mm = real;
  map.reference_mm = corners_mm;
  for (const auto& p : map.reference_mm) map.reference.push_back(map.to_image(p));
  find_pose(map);
  return true;
}

}  // namespace uroko::scale
