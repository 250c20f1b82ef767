#pragma once
#include <vector>

#include "uroko/scale/plane_map.h"

namespace uroko::scale {

/// Fills in what a flat reference's points fix, seen through `map.camera`: the homography with its covariance (`floor_px`: least noise of a point, per
/// axis), the four corners `corners_mm` of the reference in the photo, and the pose. False, and the map as it was, when the points fix no plane.
bool fill_from_points(PlaneMap& map, const std::vector<ImagePoint>& seen, const std::vector<PlanePoint>& real, double floor_px, const std::vector<PlanePoint>& corners_mm);

}  // namespace uroko::scale
