#include "uroko/geometry/polygon.h"

#include <algorithm>
#include <cmath>

namespace uroko {

namespace {

template <class P, class F>
void each_ring(const Outline<P>& outline, F&& f) {
  for (const auto& part : outline.parts) {
    f(part.outer);
    for (const auto& hole : part.holes) f(hole);
  }
}

template <class P>
double cross(const P& o, const P& a, const P& b) {
  return (a.x - o.x) * (b.y - o.y) - (a.y - o.y) * (b.x - o.x);
}

/// Andrew's monotone chain.
template <class P>
std::vector<P> convex_hull(std::vector<P> points) {
  std::sort(points.begin(), points.end(), [](const P& a, const P& b) { return a.x < b.x || (a.x == b.x && a.y < b.y); });
  points.erase(std::unique(points.begin(), points.end()), points.end());
  if (points.size() < 3) return points;
  std::vector<P> hull(2 * points.size());
  std::size_t k = 0;
  for (const auto& p : points) {
    while (k >= 2 && cross(hull[k - 2], hull[k - 1], p) <= 0) --k;
    hull[k++] = p;
  }
  const std::size_t lower = k + 1;
  for (std::size_t i = points.size() - 1; i-- > 0;) {
    while (k >= lower && cross(hull[k - 2], hull[k - 1], points[i]) <= 0) --k;
    hull[k++] = points[i];
  }
  hull.resize(k - 1);
  return hull;
}

}  // namespace

template <class P>
double signed_area(const Ring<P>& ring) {
  if (ring.size() < 3) return 0;
  // Relative to the first point: no loss of digits far from the origin.
  const P o = ring.front();
  double twice = 0;
  for (std::size_t i = 1; i + 1 < ring.size(); ++i) twice += cross(o, ring[i], ring[i + 1]);
  return twice / 2;
}

template <class P>
double area(const Outline<P>& outline) {
  double sum = 0;
  for (const auto& part : outline.parts) {
    sum += std::abs(signed_area(part.outer));
    for (const auto& hole : part.holes) sum -= std::abs(signed_area(hole));
  }
  return sum;
}

template <class P>
double perimeter(const Outline<P>& outline) {
  double sum = 0;
  each_ring(outline, [&](const Ring<P>& ring) {
    for (std::size_t i = 0; i < ring.size(); ++i) sum += distance(ring[i], ring[(i + 1) % ring.size()]);
  });
  return sum;
}

template <class P>
Calipers<P> calipers(const Outline<P>& outline) {
  std::vector<P> points;
  for (const auto& part : outline.parts) points.insert(points.end(), part.outer.begin(), part.outer.end());
  const auto hull = convex_hull(std::move(points));
  Calipers<P> best;
  const std::size_t n = hull.size();
  if (n < 2) return best;
  const auto consider = [&](const P& a, const P& b) {
    const double d = distance(a, b);
    if (d > best.length) best = {d, 0, a, b};
  };
  if (n == 2) {
    consider(hull[0], hull[1]);
    return best;
  }
  std::size_t j = 1;
  for (std::size_t i = 0; i < n; ++i) {
    const auto& a = hull[i];
    const auto& b = hull[(i + 1) % n];
    while (std::abs(cross(a, b, hull[(j + 1) % n])) > std::abs(cross(a, b, hull[j]))) j = (j + 1) % n;
    // Parallel edges: the neighbour is as far.
    consider(a, hull[j]);
    consider(b, hull[j]);
    consider(a, hull[(j + 1) % n]);
    consider(b, hull[(j + 1) % n]);
  }
  const double ux = (best.to.x - best.from.x) / best.length, uy = (best.to.y - best.from.y) / best.length;
  double low = 0, high = 0;
  for (const auto& p : hull) {
    const double across = -(p.x - best.from.x) * uy + (p.y - best.from.y) * ux;
    low = std::min(low, across);
    high = std::max(high, across);
  }
  best.width = high - low;
  return best;
}

template <class P>
P centroid(const Outline<P>& outline) {
  double a = 0, x = 0, y = 0;
  P o{};
  bool first = true;
  const auto add = [&](const Ring<P>& ring, double sign) {
    if (ring.size() < 3) return;
    if (first) o = ring.front();
    first = false;
    const double turn = signed_area(ring) < 0 ? -sign : sign;
    for (std::size_t i = 0; i < ring.size(); ++i) {
      const P &p = ring[i], &q = ring[(i + 1) % ring.size()];
      const double w = turn * cross(o, p, q) / 2;
      a += w;
      x += w * (p.x + q.x - 2 * o.x) / 3;
      y += w * (p.y + q.y - 2 * o.y) / 3;
    }
  };
  for (const auto& part : outline.parts) {
    add(part.outer, 1);
    for (const auto& hole : part.holes) add(hole, -1);
  }
  if (a == 0) return o;
  return P{o.x + x / a, o.y + y / a};
}

template <class P>
Outline<P> densified(const Outline<P>& outline, double step) {
  const auto dense = [&](const Ring<P>& ring) {
    Ring<P> out;
    for (std::size_t i = 0; i < ring.size(); ++i) {
      const P &p = ring[i], &q = ring[(i + 1) % ring.size()];
      const int pieces = std::max(1, static_cast<int>(std::ceil(distance(p, q) / step)));
      for (int k = 0; k < pieces; ++k) {
        const double t = static_cast<double>(k) / pieces;
        out.push_back(P{p.x + t * (q.x - p.x), p.y + t * (q.y - p.y)});
      }
    }
    return out;
  };
  Outline<P> out;
  for (const auto& part : outline.parts) {
    Polygon<P> polygon{dense(part.outer), {}};
    for (const auto& hole : part.holes) polygon.holes.push_back(dense(hole));
    out.parts.push_back(std::move(polygon));
  }
  return out;
}

template <class P>
bool contains(const Outline<P>& outline, const P& point) {
  bool inside = false;
  each_ring(outline, [&](const Ring<P>& ring) {
    for (std::size_t i = 0, j = ring.size() - 1; i < ring.size(); j = i++) {
      const P &a = ring[i], &b = ring[j];
      if ((a.y > point.y) != (b.y > point.y) && point.x < (b.x - a.x) * (point.y - a.y) / (b.y - a.y) + a.x) inside = !inside;
    }
  });
  return inside;
}

#define UROKO_FOR(P)                                            \
  template double signed_area(const Ring<P>&);                  \
  template double area(const Outline<P>&);                      \
  template double perimeter(const Outline<P>&);                 \
  template Calipers<P> calipers(const Outline<P>&);             \
  template P centroid(const Outline<P>&);                       \
  template Outline<P> densified(const Outline<P>&, double);     \
  template bool contains(const Outline<P>&, const P&);
UROKO_FOR(ImagePoint)
UROKO_FOR(PlanePoint)
#undef UROKO_FOR

}  // namespace uroko
