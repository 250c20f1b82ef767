#include "margin/rings.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace uroko::margin {

double radius_of(const Ring<ImagePoint>& ring) { return std::sqrt(std::abs(signed_area(ring)) / std::numbers::pi); }
double radius_of(const ImageOutline& outline) { return std::sqrt(area(outline) / std::numbers::pi); }

double distance_from(const Ring<ImagePoint>& ring, const ImagePoint& p) {
  double best = std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i < ring.size(); ++i) best = std::min(best, distance(nearest_on_segment(ring[i], ring[(i + 1) % ring.size()], p), p));
  return best;
}

void largest_first(ImageOutline& outline) {
  std::stable_sort(outline.parts.begin(), outline.parts.end(),
                   [](const auto& a, const auto& b) { return std::abs(signed_area(a.outer)) > std::abs(signed_area(b.outer)); });
}

}  // namespace uroko::margin
