#pragma once
#include <Eigen/Core>
#include <optional>
#include <utility>

#include "uroko/base/result.h"
#include "uroko/scale/plane_map.h"

namespace uroko::scale {

/// The fish's body as an elliptic cylinder, and how the reference touches it.
struct FlankSetup {
  double depth_mm = 0, width_mm = 0;  ///< dorsal to ventral, left to right; > 0
  /// Two pixels on the lateral midline (towards the tail last, or the other way round). None: the axis is taken along the reference's
  /// longer side and the reference to touch the body at `contact_angle`.
  std::optional<std::pair<ImagePoint, ImagePoint>> midline;
  double contact_angle = 0;  ///< rad, eccentric angle where the reference touches; used without a midline only
  double axis_turn = 0;      ///< rad, the axis turned within the reference's plane from what the above says
  double midline_shift_mm = 0;  ///< the midline lies that much lower on the body than it was picked
  double contact_mm = 0;     ///< the reference touches the skin that far from its middle, across the axis
  double gap_mm = 0;         ///< and lies that far above it, towards the camera
};

/// Photo pixels -> the flank's skin, unrolled. The surface is developable, so plane geometry in the unrolled millimetres is exact:
/// x along the axis, y the arc length around it, s = int sqrt(b^2 cos^2 t + a^2 sin^2 t) dt with half-height b and half-width a.
class Flank {
 public:
  /// Preconditions: the map has a pose. Refuses ("body") sizes that are not positive and a midline that no such body can show there.
  static Result<Flank> fit(const PlaneMap& map, const FlankSetup& setup);

  struct Spot {
    PlanePoint unrolled;        ///< mm
    double angle = 0;           ///< rad, eccentric angle from the midline; sin(angle) = offset / half-height
    double incidence = 0;       ///< rad, between the line of sight and the skin's normal
  };
  /// Nothing where the line of sight misses the body.
  std::optional<Spot> operator()(const ImagePoint& photo_pixel) const;
  double contact_angle() const { return contact_angle_; }

 private:
  Camera camera_;
  double half_height_ = 0, half_width_ = 0, contact_angle_ = 0;
  Eigen::Vector3d origin_, along_, across_, inward_;  // camera axes; the cross section's frame at the reference's middle
  Eigen::Vector2d eye_, contact_, on_ellipse_;
  Eigen::Matrix2d ellipse_from_section_;
};

/// Radius of a koi's skin across the fish where a site is named: flank 130 mm, back and belly 21 mm (half-axes of a strain record: body height
/// 34.7 % of the length). Nothing for sites that no such value is known of.
std::optional<double> skin_radius_mm(const std::string& site);

/// Share by which a flat reading of a round wound `across_mm` wide under-reads on a skin of that radius, with the reference tangent to the
/// skin at the wound: w^2 / (32 r^2) + w^2 / (8 r Z). Second order in w / r.
double flat_under_reading(double across_mm, double radius_mm, double distance_mm);

}  // namespace uroko::scale
