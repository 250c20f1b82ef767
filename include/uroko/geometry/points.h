#pragma once
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
