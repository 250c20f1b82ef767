#pragma once
#include "uroko/geometry/polygon.h"

namespace uroko::margin {

/// Radius of the circle of the same area.
double radius_of(const Ring<ImagePoint>& ring);
double radius_of(const ImageOutline& outline);

/// From a point to the nearest place on the ring.
double distance_from(const Ring<ImagePoint>& ring, const ImagePoint& p);

/// The parts by the area of their outer rings; parts of the same area stay in their order.
void largest_first(ImageOutline& outline);

}  // namespace uroko::margin
