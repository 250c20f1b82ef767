#pragma once
#include <cmath>
#include <opencv2/core.hpp>

#include "uroko/geometry/polygon.h"

namespace uroko::margin {

inline Ring<ImagePoint> ellipse(ImagePoint c, double a, double b, int n) {
  Ring<ImagePoint> ring;
  for (int i = 0; i < n; ++i) ring.push_back({c.x + a * std::cos(2 * CV_PI * i / n), c.y + b * std::sin(2 * CV_PI * i / n)});
  return ring;
}
inline ImageOutline outline(Ring<ImagePoint> ring) { return {{{std::move(ring), {}}}}; }

}  // namespace uroko::margin
