#pragma once
#include <optional>

#include "uroko/measure/measure.h"
#include "uroko/scale/flank.h"

namespace uroko::measure {

/// The wound as it lies on the reference's plane or, with a body, on the unrolled skin. `outline`: photo pixels, already dense.
struct Surface {
  PlaneOutline outline_mm;
  double area_mm2 = 0;
};
Result<Surface> plane_surface(const scale::PlaneMap& map, const ImageOutline& outline);
Result<Surface> flank_surface(const scale::PlaneMap& map, const ImageOutline& outline, const scale::FlankSetup& setup);

/// The fish's axis where no midline was picked, turned from the reference's long side, rad. Two rough clues, weighed by what each is worth: the
/// reference is laid with its long side along the fish within 10 degrees, and at the wound's own height on the body within 15 mm (it does not fit
/// on the flank otherwise), so that the line from it to the wound runs along the fish too.
struct PresumedAxis {
  double turn = 0, u = 0;
};
PresumedAxis presumed_axis(const scale::PlaneMap& map, const ImageOutline& outline);
scale::FlankSetup setup_of(const Body& body, const scale::PlaneMap& map, const ImageOutline& outline);

/// Line of sight against the normal of the reference's plane at the margin's middle, rad; 0 where the pose is not known.
double incidence_at(const scale::PlaneMap& map, const ImagePoint& photo);
/// From the camera square to the reference's plane, mm; about an arm's length where the pose is not known (common practice).
double plane_distance_mm(const scale::PlaneMap& map);

/// The plane map as another lens would have made it from the same photo: what was seen of the reference stays, the lens and the fit change.
std::optional<scale::PlaneMap> with_camera(const scale::PlaneMap& map, const scale::Camera& camera);

/// Standard uncertainty of the area from the homography's covariance, mm2 (first order).
double u_of_scale(const scale::PlaneMap& map, const ImageOutline& outline);
/// From a reference that leans against the wound's plane about its own middle by `u_rad` about each axis: its slant where the wound is seen
/// obliquely, and its height there by the lever of the distance between them. 0 where the pose is not known.
double u_of_lean(const scale::PlaneMap& map, const ImageOutline& outline, double u_rad);
/// From the lens's k1 (and, on a flank, the focal length).
double u_of_lens(const scale::PlaneMap& map, const ImageOutline& outline, const MeasureOptions& options);
/// From the body's sizes, midline and the card's contact. The area bends in them, so that it is on average `excess_mm2` too large at their
/// entered or presumed values: to be taken off. u_mm2 holds the second-order terms too (GUM 5.1.2, note).
struct BodyEffect {
  double u_mm2 = 0, excess_mm2 = 0;
};
BodyEffect effect_of_body(const scale::PlaneMap& map, const ImageOutline& outline, const Body& body, double area_mm2);

/// From the edge: independent doubt correlated over a stretch, and a shift common to all of it. mm2, mm2, and the shift in mm.
struct EdgeU {
  double independent_mm2 = 0, common_mm2 = 0, common_mm = 0;
};
EdgeU edge_uncertainty(const scale::PlaneMap& map, const margin::Margin& margin);

}  // namespace uroko::measure
