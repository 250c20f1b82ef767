#pragma once
#include <Eigen/Dense>
#include <optional>
#include <vector>

#include "uroko/scenes/scene.h"

namespace uroko::scenes {

/// The scene's solid geometry: body, card and camera. Body axes: x to the tail, y to the belly, z into the fish; origin on the mid-flank.
/// Written apart from the product's own maps, so that the two check each other.
class Solid {
 public:
  explicit Solid(const Scene& scene);

  struct Frame {
    Eigen::Vector3d at, along, around, inward;  ///< point, unit tangents to the tail and to the belly, unit normal into the body
  };
  Frame frame(const SkinPoint& p) const;
  /// Angle of the surface's normal from the mid-flank's, radians.
  double turn(double s) const { return std::atan2(frame({0, s}).around.z(), frame({0, s}).around.y()); }

  /// Unit-depth ray through a pixel, body axes. Inverts the lens by Newton's method, from where it starts best: `bend` is what the lens moved
  /// the point by at a neighbour (normalised coordinates) and is set to what it does here.
  Eigen::Vector3d ray(const ImagePoint& pixel) const {
    Eigen::Vector2d bend(0, 0);
    return ray(pixel, bend);
  }
  Eigen::Vector3d ray(const ImagePoint& pixel, Eigen::Vector2d& bend) const;
  const Eigen::Vector3d& eye() const { return eye_; }
  std::optional<SkinPoint> skin_hit(const Eigen::Vector3d& ray, double* distance = nullptr) const;
  /// Nominal card millimetres from the card's top left corner; beyond its edges too. Nothing when the ray does not meet the plane.
  std::optional<PlanePoint> card_hit(const Eigen::Vector3d& ray, double* distance = nullptr) const;
  std::optional<ImagePoint> project(const Eigen::Vector3d& body) const;
  Eigen::Vector3d on_card(const PlanePoint& p) const { return card_at_ + p.x * card_u_ + p.y * card_v_; }
  /// Seen from the camera's side.
  bool faces_camera(const SkinPoint& p) const;
  const Eigen::Matrix3d& camera_from_body() const { return rotation_; }
  scale::Pose card_pose() const;
  const Eigen::Vector3d& card_normal() const { return card_n_; }

 private:
  double angle_of(double s) const;
  double arc_of(double angle) const;

  const Scene& scene_;
  double half_height_ = 0, half_width_ = 0;
  std::vector<double> arc_;  ///< arc length from the midline at equal steps of the eccentric angle
  Eigen::Matrix3d rotation_;
  Eigen::Vector3d eye_, card_at_, card_u_, card_v_, card_n_;
  double card_away_ = 0;           ///< from the eye to the card's plane, along its normal
  Eigen::Vector3d per_u_, per_v_;  ///< nominal card mm per mm in space
  PlanePoint at_eye_;              ///< where the eye's foot lies on the card
};

}  // namespace uroko::scenes
