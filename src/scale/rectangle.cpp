#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "scale/edge_line.h"
#include "scale/warnings.h"
#include "uroko/base/text.h"
#include "uroko/scale/references.h"

namespace uroko::scale {

namespace {

/// What a pick with the mouse is good for, per axis; and a corner where two fitted edges meet (edge bevels and shadows dominate it).
constexpr double picked_u_px = 1.0, fitted_u_px = 0.2;
/// Cards and sheets are made to about this share of their size (allowance; ISO/IEC 7810 gives ID-1 85.60 x 53.98 mm).
constexpr double made_u = 0.002;

std::optional<Refusal> fault_of(const std::array<ImagePoint, 4>& c, const cv::Mat& photo, double width_mm, double height_mm) {
  if (!(std::isfinite(width_mm) && std::isfinite(height_mm) && width_mm > 0 && height_mm > 0))
    return Refusal{"zero-length", "the rectangle's width and height must be above 0 mm", "give its true width and height"};
  double longest = 0;
  for (int i = 0; i < 4; ++i) {
    if (!std::isfinite(c[i].x) || !std::isfinite(c[i].y)) return Refusal{"corners", "a corner is not a number", "give four corners in order"};
    if (!photo.empty() && (c[i].x < -0.5 || c[i].y < -0.5 || c[i].x > photo.cols - 0.5 || c[i].y > photo.rows - 0.5))
      return Refusal{"outside", "corner " + std::to_string(i + 1) + " of the rectangle lies outside the photo", "pick four corners inside the photo"};
    longest = std::max(longest, distance(c[i], c[(i + 1) % 4]));
  }
  int left = 0;
  for (int i = 0; i < 4; ++i) {
    const auto &p = c[i], &q = c[(i + 1) % 4], &r = c[(i + 2) % 4];
    if (distance(p, q) < 2) return Refusal{"equal-points", "two corners of the rectangle are the same", "pick four different corners"};
    const double turn = (q.x - p.x) * (r.y - q.y) - (q.y - p.y) * (r.x - q.x);
    if (std::abs(turn) < 1e-3 * longest * longest) return Refusal{"corners", "three corners of the rectangle lie on one line", "pick its four corners"};
    left += turn > 0;
  }
  if (left == 2) return Refusal{"crossing", "the rectangle's sides cross each other", "give the corners in order around it"};
  if (left != 0 && left != 4) return Refusal{"corners", "the four corners do not make a rectangle seen from any side", "pick its four corners in order"};
  return std::nullopt;
}

}  // namespace

Result<PlaneMap> from_rectangle(const cv::Mat& photo, const Camera& camera, const std::array<ImagePoint, 4>& corners, double width_mm,
                                double height_mm) {
  if (const auto fault = fault_of(corners, photo, width_mm, height_mm)) return *fault;
  std::array<ImagePoint, 4> ideal;
  for (int i = 0; i < 4; ++i) ideal[i] = camera.undistorted(corners[i]);

  bool fitted = false;
  if (!photo.empty()) {
    cv::Mat grey = photo;
    if (photo.channels() != 1) cv::cvtColor(photo, grey, cv::COLOR_BGR2GRAY);
    double mean_side = 0;
    for (int i = 0; i < 4; ++i) mean_side += distance(corners[i], corners[(i + 1) % 4]) / 4;
    // A rounded corner of an ID-1 card (radius 3.18 mm, ISO/IEC 7810) is picked up to 0.93 mm inside both sides: 1.3 % of the mean side.
    const double reach = std::clamp(0.02 * mean_side, 3.0, 40.0);
    std::array<std::optional<EdgeLine>, 4> lines;
    std::vector<cv::Mat> colours;
    fitted = true;
    for (int i = 0; i < 4 && fitted; ++i) {
      // Only a sharp, strong, straight edge is trusted above the pick.
      const auto found = [&](const std::vector<cv::Mat>& planes) {
        lines[i] = find_edge_line(planes, camera, corners[i], corners[(i + 1) % 4], reach);
        return lines[i] && lines[i]->contrast > 15 && lines[i]->rms_px < 0.5 && lines[i]->share > 0.7;
      };
      fitted = found({grey});
      if (fitted || photo.channels() == 1) continue;
      if (colours.empty()) cv::split(photo, colours);
      fitted = found(colours);
    }
    std::array<ImagePoint, 4> met;
    for (int i = 0; i < 4 && fitted; ++i) {
      const auto p = meeting(*lines[(i + 3) % 4], *lines[i]);
      fitted = p && distance(*p, ideal[i]) < 2 * reach;
      if (fitted) met[i] = *p;
    }
    if (fitted) ideal = met;
  }

  PlaneMap map;
  map.kind = Kind::rectangle;
  map.camera = camera;
  map.points = 4;
  map.scale_relative_u = made_u;
  map.reference_mm = {{0, 0}, {width_mm, 0}, {width_mm, height_mm}, {0, height_mm}};
  const double turn = (ideal[1].x - ideal[0].x) * (ideal[2].y - ideal[1].y) - (ideal[1].y - ideal[0].y) * (ideal[2].x - ideal[1].x);
  // Corners given the other way round: the plane's x runs from corner 2 to corner 1, so that the plane is never seen from behind.
  if (turn < 0)
    for (auto& p : map.reference_mm) p.x = width_mm - p.x;
  const auto fit = fit_homography<ImagePoint, PlanePoint>({ideal.begin(), ideal.end()}, map.reference_mm, fitted ? fitted_u_px : picked_u_px);
  if (!fit) return Refusal{"corners", "the four corners do not fix a plane", "pick the rectangle's four corners in order"};
  map.plane_from_ideal = fit->to_from;
  map.covariance = fit->covariance;
  map.rms_px = 0;
  if (!photo.empty() && !fitted)
    map.warnings.push_back(warning("edges-not-found", "the rectangle's edges were not found near the picks; the scale is by the four picks alone, each good for a pixel: pick where the "
                                                      "straight edges meet, outside a rounded corner"));
  for (const auto& p : ideal) map.reference.push_back(camera.distorted(p));
  find_pose(map);
  if (map.pose) {
    // Four corners fix the plane, whatever the sizes; but only the right sizes are a rectangle as the camera's focal length shows it.
    double miss = 0, side = 0;
    for (int i = 0; i < 4; ++i) {
      const Eigen::Vector3d q = map.pose->rotation * Eigen::Vector3d(map.reference_mm[i].x, map.reference_mm[i].y, 0) + map.pose->translation_mm;
      miss = std::max(miss, std::hypot(camera.fx * q.x() / q.z() + camera.cx - ideal[i].x, camera.fy * q.y() / q.z() + camera.cy - ideal[i].y));
      side += distance(ideal[i], ideal[(i + 1) % 4]) / 4;
    }
    if (miss > 0.06 * side && map.tilt_deg > 35)
      map.warnings.push_back(warning("shape", "four such corners are no rectangle of " + number_text(width_mm) + " x " + number_text(height_mm) +
                                                  " mm as a camera would see it; check that width runs from corner 1 to corner 2"));
  }
  warn_of_tilt(map);
  const double shorter = std::min({distance(ideal[0], ideal[1]), distance(ideal[1], ideal[2]), distance(ideal[2], ideal[3]), distance(ideal[3], ideal[0])});
  if (shorter < 100)
    map.warnings.push_back(warning("small-reference", "the rectangle's shortest side is only " + fixed_text(shorter, 0) + " px; come closer"));
  return map;
}

}  // namespace uroko::scale
