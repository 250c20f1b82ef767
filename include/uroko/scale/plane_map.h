#pragma once
#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

#include "uroko/base/estimate.h"
#include "uroko/geometry/homography.h"
#include "uroko/scale/camera.h"

namespace uroko::scale {

enum class Kind { card, ruler, disc, rectangle, board };
const char* name(Kind kind);  ///< "card", "ruler", "disc", "rectangle", "board"

/// Where the reference's plane lies seen from the camera: X_camera = R X_plane + t, mm; plane z away from the camera.
struct Pose {
  Eigen::Matrix3d rotation = Eigen::Matrix3d::Identity();
  Eigen::Vector3d translation_mm = Eigen::Vector3d::Zero();
};

/// Photo pixels -> millimetres on the reference's plane: lens first, then a homography with covariance.
class PlaneMap {
 public:
  Kind kind = Kind::card;
  Camera camera;
  Homography<ImagePoint, PlanePoint> plane_from_ideal;  ///< from undistorted pixels
  Eigen::Matrix<double, 8, 8> covariance = Eigen::Matrix<double, 8, 8>::Zero();  ///< of its first eight entries (row by row)
  double rms_px = 0;           ///< residual of the reference's points in the photo, per axis; 0 when exactly determined
  int points = 0;              ///< how many points fixed it
  double scale_relative_u = 0; ///< standard uncertainty of the reference's true size, as a share of length (print, caliper)
  std::vector<ImagePoint> reference;  ///< the reference's corners in the photo, in order, for drawing
  std::vector<PlanePoint> reference_mm;  ///< the same corners on the plane
  std::vector<PlanePoint> fitted_mm;     ///< where on the plane the points lie that fixed the map; empty: all over the reference
  std::optional<Pose> pose;    ///< known when the camera's focal length is believable
  bool tilt_known = true;      ///< false for two picks and for a disc: area errs with the tilt (a warning says so)
  double tilt_deg = 0;         ///< between the camera's axis and the plane's normal
  double tilt_u_deg = 0;
  std::vector<Warning> warnings;

  PlanePoint to_plane(const ImagePoint& p) const { return plane_from_ideal(camera.undistorted(p)); }
  ImagePoint to_image(const PlanePoint& p) const;
  /// Square root of the area scale at that pixel, mm per px.
  double mm_per_px(const ImagePoint& p) const;
  /// The outline on the plane; edges are densified to `step_px` before mapping so that the lens bends them rightly.
  PlaneOutline to_plane(const ImageOutline& outline, double step_px = 2) const;
};

/// Pose, tilt and its uncertainty from the homography and the camera (Zhang 2000). Fills pose, tilt_deg, tilt_u_deg.
void find_pose(PlaneMap& map);

}  // namespace uroko::scale
