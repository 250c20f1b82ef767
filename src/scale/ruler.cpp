#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "scale/graduations.h"
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
  map.tilt_known = false;
  const ImagePoint a = camera.undistorted(from), b = camera.undistorted(to);
  const double t = unknown_tilt_deg * std::numbers::pi / 180;
  // Tilt along the ruler by t makes q = z_a / z_b - 1 about (picture length / focal length) tan t.
  const double q_u = distance(a, b) / camera.fx * std::tan(t);
  std::optional<Graduations> ticks;
  if (!photo.empty()) {
    cv::Mat grey = photo;
    if (photo.channels() != 1) cv::cvtColor(photo, grey, cv::COLOR_BGR2GRAY);
    ticks = find_graduations(grey, from, to, length_mm, 2 * q_u);
  }
  const double between = ticks ? ticks->n * ticks->period_mm : length_mm, start = ticks ? ticks->m0 * ticks->period_mm : 0;

  // The ruler is a line in space: its direction follows from the perspective along it. Its plane is taken as square to the camera as that line
  // allows; how far it is turned about the line stays unknown. Parameters: a, b (px), length between them (mm), q, turn about the ruler, focal share.
  const auto plane = [&camera, start](const Eigen::VectorXd& p) -> Eigen::Matrix3d {
    Eigen::Matrix3d k;
    k << camera.fx * (1 + p(7)), 0, camera.cx, 0, camera.fy * (1 + p(7)), camera.cy, 0, 0, 1;
    const Eigen::Vector3d ra = k.inverse() * Eigen::Vector3d(p(0), p(1), 1), rb = k.inverse() * Eigen::Vector3d(p(2), p(3), 1);
    const double ratio = 1 / (1 + p(5));
    const double za = p(4) / (ratio * rb - ra).norm();
    const Eigen::Vector3d pa = za * ra, x = (za * ratio * rb - pa).normalized(), view = Eigen::Vector3d::UnitZ();
    const Eigen::Vector3d square = (view - view.dot(x) * x).normalized();
    const Eigen::Vector3d z = Eigen::AngleAxisd(p(6), x) * square, y = z.cross(x);
    Eigen::Matrix3d image_from_plane;
    image_from_plane << k * x, k * y, k * (pa - x * start);
    return image_from_plane.inverse();
  };
  Eigen::VectorXd p(8), step(8);
  p << a.x, a.y, b.x, b.y, between, ticks ? ticks->q : 0, 0, 0;
  step << 1e-3, 1e-3, 1e-3, 1e-3, 1e-4 * between, 1e-5, 1e-4, 1e-4;
  Eigen::MatrixXd covariance = Eigen::MatrixXd::Zero(8, 8);
  if (ticks) {
    // The count between the picks is known whatever the picks' own noise: only the direction across the line feels it.
    covariance(4, 4) = std::pow(ticks->u_n * ticks->period_mm, 2);
    covariance(5, 5) = std::pow(ticks->u_q, 2);
    covariance(4, 5) = covariance(5, 4) = ticks->cov_nq * ticks->period_mm;
  } else {
    covariance.topLeftCorner(4, 4).diagonal().setConstant(picked_u_px * picked_u_px);
    covariance(5, 5) = q_u * q_u;
  }
  covariance(6, 6) = t * t;
  covariance(7, 7) = camera.focal_relative_u * camera.focal_relative_u;
  set_from_parameters(map, plane, p, covariance, step);
  // The tilt itself acts by its cosine, of second order: area share t^2/2 on average with a standard deviation of sqrt(2) times that.
  const double by_tilt = std::sqrt(3.0) * t * t / 4;
  map.scale_relative_u = std::hypot(ticks ? 0.0005 : 0.001, ticks ? by_tilt : std::numbers::sqrt2 * by_tilt);
  map.reference = {from, to};
  map.reference_mm = {map.to_plane(from), map.to_plane(to)};
  find_pose(map);
  map.points = ticks ? static_cast<int>(std::floor(ticks->n)) + 1 : 2;
  if (ticks) {
    const double off = ticks->n * ticks->period_mm - length_mm;
    const std::string found = "graduations every " + fixed_text(ticks->period_mm, ticks->period_mm == std::round(ticks->period_mm) ? 0 : 2) +
                              " mm were found along the ruler (" + fixed_text(100 * ticks->coherence, 0) + " % in step)";
    if (ticks->period_mm != 1)
      map.warnings.push_back(warning("graduations", found + "; if the ruler has others, the length that was given is wrong"));
    if (std::abs(off) > std::max({0.9 * ticks->period_mm, 6 * length_mm / distance(a, b), 0.01 * length_mm}))
      map.warnings.push_back(warning("picks-disagree", found + ", but " + fixed_text(ticks->n * ticks->period_mm, 1) + " mm lie between the picks instead of " +
                                                           number_text(length_mm) + " mm; the graduations were believed"));
    map.warnings.push_back(warning("tilt-unknown", "a ruler cannot tell how its plane is turned about it; hold the camera square to the wound"));
  } else {
    map.warnings.push_back(warning("no-graduations", "no graduations were found along the ruler; the scale is by the two picks alone"));
    map.warnings.push_back(warning("tilt-unknown", "two picks cannot tell how the ruler's plane is tilted; hold the camera square to the wound"));
  }
  if (distance(from, to) < 150)
    map.warnings.push_back(warning("small-reference", "the picks are only " + fixed_text(distance(from, to), 0) + " px apart; pick graduations farther apart"));
  return map;
}

}  // namespace uroko::scale
