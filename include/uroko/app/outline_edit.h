#pragma once
#include <optional>

#include "uroko/geometry/polygon.h"

namespace uroko::app {

/// A place on a ring of an outline. `ring`: 0 the outer one, 1.. the holes. `at` lies on the edge from vertex `edge` to the next.
struct OnRing {
  std::size_t part = 0, ring = 0, edge = 0;
  double along = 0;  ///< 0..1 of that edge
  ImagePoint at;
  double distance = 0;  ///< from the asked point, px
};

Ring<ImagePoint>& ring_of(ImageOutline& outline, std::size_t part, std::size_t ring);
const Ring<ImagePoint>& ring_of(const ImageOutline& outline, std::size_t part, std::size_t ring);

std::optional<OnRing> nearest_on(const ImageOutline& outline, const ImagePoint& to);
/// The nearest vertex within `reach` px: `edge` is its index, `along` 0.
std::optional<OnRing> nearest_vertex(const ImageOutline& outline, const ImagePoint& to, double reach);

/// A vertex at that place; its index. The one already there when it is nearer than `merge` px.
std::size_t insert_vertex(ImageOutline& outline, const OnRing& place, double merge);
/// False (nothing done) when the ring would keep fewer than three; then a hole, or a part that is not the only one, goes as a whole.
bool delete_vertex(ImageOutline& outline, std::size_t part, std::size_t ring, std::size_t vertex);

/// Moves a vertex by (dx, dy) and its neighbours up to `reach` px of arc away by a share that falls off as cos^2.
void move_soft(Ring<ImagePoint>& ring, std::size_t vertex, double dx, double dy, double reach);
/// Moves what lies within `radius` of `centre` by (dx, dy) times (1 - d^2/r^2)^2. True when something moved.
bool push(ImageOutline& outline, const ImagePoint& centre, double radius, double dx, double dy);
/// Replaces the stretch between the feet of the stroke's ends by the stroke; of the two stretches the one nearer to the stroke goes.
/// Nothing when the ends are on different rings or the stroke has fewer than two points.
std::optional<ImageOutline> redrawn(const ImageOutline& outline, const std::vector<ImagePoint>& stroke);

/// Places for handles: equal steps of arc of about `step` px, at least 6 a ring; the vertices themselves where the ring has no more than 24.
std::vector<ImagePoint> handles(const Ring<ImagePoint>& ring, double step);

}  // namespace uroko::app
