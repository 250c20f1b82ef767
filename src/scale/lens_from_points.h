#pragma once
#include <vector>

#include "uroko/scale/camera.h"

namespace uroko::scale {

/// The camera with k1 as the points of one flat reference show it, weighed against what was known of it (k1_doubt), and what doubt is left.
/// The lens is left alone where there are fewer than 12 points, or where they miss a plane by more than `noise_px` (each point's own, per
/// axis) explains under any k1: then the reference is not flat, and its bend would be taken for the lens's.
Camera lens_from_points(const Camera& camera, const std::vector<ImagePoint>& seen, const std::vector<PlanePoint>& real, double noise_px);

}  // namespace uroko::scale
