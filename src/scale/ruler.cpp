#include <Eigen/Dense>
#include <cmath>
#include <numbers>

#include "scale/parameters.h"
#include "scale/warnings.h"
#include "uroko/base/text.h"
#include "uroko/scale/references.h"

namespace uroko::scale {

namespace {

/// A pick with the mouse, per axis.
constexpr double picked_u_px = 1.0;
/// What a careful photographer leaves of tilt (allowance, one standard deviation). E[1 - cos t] about it is the share of length that is lost.
constexpr double unknown_tilt_deg = 12;

}  // namespace

Result<PlaneMap> from_ruler(const cv::Mat& photo, const Camera& camera, const ImagePoint& from, const ImagePoint& to, double length_mm) {
  if (!std::isfinite(length_mm) || length_mm <= 0) return Refusal{"zero-length", "the length on the ruler must be above 0 mm", "give the mm between the two picks"};
  for (const auto& p : {from, to}) {
    if (!std::isfinite(p.x) || !std::isfinite(p.y)) return Refusal{"outside", "a ruler point is not a number", "pick two points on the ruler"};
    if (!photo.empty() && (p.x < -0.5 || p.y < -0.5 || p.x > photo.cols - 0.5 || p.y > photo.rows - 0.5))
      return Refusal{"outside", "a ruler point lies outside the photo", "pick two points on the ruler inside the photo"};
  }
  if (distance(from, to) < 2) return Refusal{"equal-points", "the two ruler points are the same", "pick two graduations far apart"};

  PlaneMap map;
  map.kind = Kind::ruler;
  map.camera = camera;
  map.points = 2;
  map.tilt_known = false;
  const ImagePoint a = camera.undistorted(from), b = camera.undistorted(to);
  const auto similarity = [length_mm](const Eigen::VectorXd& p) {
    const double dx = p(2) - p(0), dy = p(3) - p(1), s = length_mm / (dx * dx + dy * dy);
    Eigen::Matrix3d h;
    h << s * dx, s * dy, -s * (dx * p(0) + dy * p(1)), -s * dy, s * dx, -s * (-dy * p(0) + dx * p(1)), 0, 0, 1;
    return h;
  };
  Eigen::VectorXd p(4);
  p << a.x, a.y, b.x, b.y;
  set_from_parameters(map, similarity, p, Eigen::MatrixXd::Identity(4, 4) * picked_u_px * picked_u_px, Eigen::VectorXd::Constant(4, 1e-3));
  const double t = unknown_tilt_deg * std::numbers::pi / 180;
  map.scale_relative_u = std::hypot(0.001, t * t / 2);
  map.reference = {from, to};
  map.reference_mm = {{0, 0}, {length_mm, 0}};
  map.warnings.push_back(warning("tilt-unknown", "two picks cannot tell how the ruler's plane is tilted; hold the camera square to the wound"));
  return map;
}

}  // namespace uroko::scale
