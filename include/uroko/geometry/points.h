#pragma once
#include <algorithm>
#include <cmath>
#include <vector>

namespace uroko {

/// A point of the photo in pixels after EXIF orientation; pixel centres at integers, x right, y down.
struct ImagePoint {
  double x = 0, y = 0;
  bool operator==(const ImagePoint&) const = default;
};

/// A point on the scale reference's plane in millimetres; x right and y down as seen on the reference.
struct PlanePoint {
  double x = 0, y = 0;
  bool operator==(const PlanePoint&) const = default;
};

template <class P>
double distance(const P& a, const P& b) {
  return std::hypot(a.x - b.x, a.y - b.y);
}

/// Where on the way from a to b the point nearest to p lies, 0 to 1; 0 when a and b are the same.
template <class P>
double share_along(const P& a, const P& b, const P& p) {
  const double vx = b.x - a.x, vy = b.y - a.y, l2 = vx * vx + vy * vy;
  return l2 > 0 ? std::clamp(((p.x - a.x) * vx + (p.y - a.y) * vy) / l2, 0.0, 1.0) : 0;
}

/// The point between a and b nearest to p.
template <class P>
P nearest_on_segment(const P& a, const P& b, const P& p) {
  const double t = share_along(a, b, p);
  return {a.x + t * (b.x - a.x), a.y + t * (b.y - a.y)};
}

/// A closed ring; the last point is joined to the first and is not repeated.
template <class P>
using Ring = std::vector<P>;

template <class P>
struct Polygon {
  Ring<P> outer;
  std::vector<Ring<P>> holes;
  bool operator==(const Polygon&) const = default;
};

/// One or several polygons; a wound may have parts, and holes for islands of epithelium.
template <class P>
struct Outline {
  std::vector<Polygon<P>> parts;
  bool empty() const { return parts.empty(); }
  bool operator==(const Outline&) const = default;
};

using ImageOutline = Outline<ImagePoint>;
using PlaneOutline = Outline<PlanePoint>;

}  // namespace uroko
