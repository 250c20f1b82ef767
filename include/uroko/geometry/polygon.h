#pragma once
#include <functional>
#include <optional>
#include <string>
#include <utility>

#include "uroko/geometry/points.h"

namespace uroko {

/// Shoelace sum / 2: positive when the ring turns from +x towards +y. Unit: that of the points, squared.
template <class P>
double signed_area(const Ring<P>& ring);

/// Outer rings minus holes, whatever way the rings turn. Exact for valid outlines up to rounding.
template <class P>
double area(const Outline<P>& outline);

/// Length of every ring, holes included.
template <class P>
double perimeter(const Outline<P>& outline);

/// Greatest caliper (Feret) length over all parts and the greatest extent perpendicular to it.
/// `along`: the end points of the length. Rotating calipers on the convex hull; exact.
template <class P>
struct Calipers {
  double length = 0, width = 0;
  P from{}, to{};
};
template <class P>
Calipers<P> calipers(const Outline<P>& outline);

template <class P>
P centroid(const Outline<P>& outline);

/// Every edge cut into pieces no longer than `step` (> 0, unit of the points).
template <class P>
Outline<P> densified(const Outline<P>& outline, double step);

/// Even-odd over all rings.
template <class P>
bool contains(const Outline<P>& outline, const P& point);

/// All of it moved by (dx, dy).
template <class P>
Outline<P> shifted(Outline<P> outline, double dx, double dy) {
  const auto move = [=](Ring<P>& ring) {
    for (auto& p : ring) p = {p.x + dx, p.y + dy};
  };
  for (auto& part : outline.parts) {
    move(part.outer);
    for (auto& hole : part.holes) move(hole);
  }
  return outline;
}

template <class From, class To>
Outline<To> mapped(const Outline<From>& outline, const std::function<To(const From&)>& f) {
  const auto ring = [&](const Ring<From>& in) {
    Ring<To> out;
    out.reserve(in.size());
    for (const auto& p : in) out.push_back(f(p));
    return out;
  };
  Outline<To> out;
  for (const auto& part : outline.parts) {
    Polygon<To> polygon{ring(part.outer), {}};
    for (const auto& hole : part.holes) polygon.holes.push_back(ring(hole));
    out.parts.push_back(std::move(polygon));
  }
  return out;
}

/// Why an outline is not one: which fault, and where (unit of the points).
struct OutlineFault {
  enum class Kind { empty, too_few_points, not_finite, crosses_itself, hole_outside, parts_overlap, no_area, other };
  Kind kind;
  double x = 0, y = 0;
  std::string text;  ///< one clause in plain words, with the place
};
/// GEOS validity with the place of the fault; nothing when the outline is valid.
template <class P>
std::optional<OutlineFault> find_fault(const Outline<P>& outline);

/// Set operations through GEOS. Preconditions: both valid.
template <class P>
Outline<P> intersection(const Outline<P>& a, const Outline<P>& b);
template <class P>
Outline<P> united(const Outline<P>& a, const Outline<P>& b);
template <class P>
Outline<P> difference(const Outline<P>& a, const Outline<P>& b);
/// Grown (distance > 0) or shrunk (< 0) by round offsetting.
template <class P>
Outline<P> buffered(const Outline<P>& outline, double distance);
/// Repairs self-crossing rings by GEOS MakeValid, keeping the polygonal parts.
template <class P>
Outline<P> made_valid(const Outline<P>& outline);

/// Overlap 2|A and B| / (|A| + |B|), 1 when both are the same. Preconditions: both valid, not both empty.
template <class P>
double dice(const Outline<P>& a, const Outline<P>& b);

/// POLYGON or MULTIPOLYGON (OGC Simple Features WKT). Throws std::invalid_argument saying what is wrong; the outline may still be invalid.
template <class P>
Outline<P> outline_from_wkt(const std::string& wkt);
template <class P>
std::string to_wkt(const Outline<P>& outline, int decimals = 3);
/// LINESTRING or MULTILINESTRING, or POINT (one point). Throws std::invalid_argument.
std::vector<std::vector<ImagePoint>> lines_from_wkt(const std::string& wkt);
std::string line_to_wkt(const std::vector<ImagePoint>& line, int decimals = 3);

}  // namespace uroko
