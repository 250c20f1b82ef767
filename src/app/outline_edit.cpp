#include "uroko/app/outline_edit.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace uroko::app {

namespace {

template <class F>
void each_ring(const ImageOutline& outline, F f) {
  for (std::size_t p = 0; p < outline.parts.size(); ++p) {
    f(p, std::size_t{0}, outline.parts[p].outer);
    for (std::size_t h = 0; h < outline.parts[p].holes.size(); ++h) f(p, h + 1, outline.parts[p].holes[h]);
  }
}

double distance_to_line(const std::vector<ImagePoint>& line, const ImagePoint& p) {
  double best = std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i + 1 < line.size(); ++i) best = std::min(best, uroko::distance(nearest_on_segment(line[i], line[i + 1], p), p));
  return best;
}

}  // namespace

Ring<ImagePoint>& ring_of(ImageOutline& outline, std::size_t part, std::size_t ring) {
  return ring == 0 ? outline.parts.at(part).outer : outline.parts.at(part).holes.at(ring - 1);
}
const Ring<ImagePoint>& ring_of(const ImageOutline& outline, std::size_t part, std::size_t ring) {
  return ring == 0 ? outline.parts.at(part).outer : outline.parts.at(part).holes.at(ring - 1);
}

std::optional<OnRing> nearest_on(const ImageOutline& outline, const ImagePoint& to) {
  std::optional<OnRing> best;
  each_ring(outline, [&](std::size_t part, std::size_t index, const Ring<ImagePoint>& ring) {
    for (std::size_t i = 0; i < ring.size(); ++i) {
      const auto &a = ring[i], &b = ring[(i + 1) % ring.size()];
      const ImagePoint at = nearest_on_segment(a, b, to);
      const double d = uroko::distance(at, to);
      if (!best || d < best->distance) best = OnRing{part, index, i, share_along(a, b, to), at, d};
    }
  });
  return best;
}

std::optional<OnRing> nearest_vertex(const ImageOutline& outline, const ImagePoint& to, double reach) {
  std::optional<OnRing> best;
  each_ring(outline, [&](std::size_t part, std::size_t index, const Ring<ImagePoint>& ring) {
    for (std::size_t i = 0; i < ring.size(); ++i) {
      const double d = uroko::distance(ring[i], to);
      if (d <= reach && (!best || d < best->distance)) best = OnRing{part, index, i, 0, ring[i], d};
    }
  });
  return best;
}

std::size_t insert_vertex(ImageOutline& outline, const OnRing& place, double merge) {
  auto& ring = ring_of(outline, place.part, place.ring);
  const std::size_t next = (place.edge + 1) % ring.size();
  if (uroko::distance(ring[place.edge], place.at) <= merge) return place.edge;
  if (uroko::distance(ring[next], place.at) <= merge) return next;
  ring.insert(ring.begin() + static_cast<std::ptrdiff_t>(place.edge) + 1, place.at);
  return place.edge + 1;
}

bool delete_vertex(ImageOutline& outline, std::size_t part, std::size_t index, std::size_t vertex) {
  auto& ring = ring_of(outline, part, index);
  if (ring.size() > 3) {
    ring.erase(ring.begin() + static_cast<std::ptrdiff_t>(vertex));
    return true;
  }
  if (index > 0) {
    auto& holes = outline.parts[part].holes;
    holes.erase(holes.begin() + static_cast<std::ptrdiff_t>(index) - 1);
    return true;
  }
  if (outline.parts.size() > 1) {
    outline.parts.erase(outline.parts.begin() + static_cast<std::ptrdiff_t>(part));
    return true;
  }
  return false;
}

void move_soft(Ring<ImagePoint>& ring, std::size_t vertex, double dx, double dy, double reach) {
  const std::size_t n = ring.size();
  const auto original = ring;
  const auto share = [&](double arc) { const double c = std::cos(std::numbers::pi / 2 * std::min(1.0, arc / reach)); return c * c; };
  std::vector<double> weight(n, 0);
  weight[vertex] = 1;
  for (const int step : {1, -1}) {
    double arc = 0;
    std::size_t i = vertex;
    for (std::size_t k = 1; k < n; ++k) {
      const std::size_t next = step > 0 ? (i + 1) % n : (i + n - 1) % n;
      arc += uroko::distance(original[i], original[next]);
      if (arc >= reach) break;
      weight[next] = std::max(weight[next], share(arc));
      i = next;
    }
  }
  for (std::size_t i = 0; i < n; ++i) {
    ring[i].x += weight[i] * dx;
    ring[i].y += weight[i] * dy;
  }
}

bool push(ImageOutline& outline, const ImagePoint& centre, double radius, double dx, double dy) {
  bool moved = false;
  const auto work = [&](Ring<ImagePoint>& ring) {
    for (auto& p : ring) {
      const double q = 1 - (std::pow(p.x - centre.x, 2) + std::pow(p.y - centre.y, 2)) / (radius * radius);
      if (q <= 0) continue;
      p.x += q * q * dx;
      p.y += q * q * dy;
      moved = true;
    }
  };
  for (auto& part : outline.parts) {
    work(part.outer);
    for (auto& hole : part.holes) work(hole);
  }
  return moved;
}

std::optional<ImageOutline> redrawn(const ImageOutline& outline, const std::vector<ImagePoint>& stroke) {
  if (stroke.size() < 2 || outline.empty()) return std::nullopt;
  const auto first = nearest_on(outline, stroke.front());
  if (!first) return std::nullopt;
  // The stroke's other end is looked for on the same ring.
  ImageOutline only;
  only.parts.push_back({ring_of(outline, first->part, first->ring), {}});
  const auto last = nearest_on(only, stroke.back());
  const auto& ring = only.parts[0].outer;
  const std::size_t n = ring.size();
  // Vertices strictly between the feet, going forward: from after a to b.
  const auto between = [&](const OnRing& a, const OnRing& b) {
    std::vector<ImagePoint> run;
    if (a.edge == b.edge && b.along >= a.along) return run;
    for (std::size_t i = (a.edge + 1) % n, k = 0; k < n; i = (i + 1) % n, ++k) {
      run.push_back(ring[i]);
      if (i == b.edge) break;
    }
    return run;
  };
  const auto forward = between(*first, *last), backward = between(*last, *first);
  const auto mean = [&](const std::vector<ImagePoint>& run) {
    if (run.empty()) return 0.0;
    double sum = 0;
    for (const auto& p : run) sum += distance_to_line(stroke, p);
    return sum / static_cast<double>(run.size());
  };
  Ring<ImagePoint> made;
  if (mean(forward) <= mean(backward)) {  // the forward run goes: stroke, then the backward run from last to first
    made = stroke;
    made.insert(made.end(), backward.begin(), backward.end());
  } else {  // the backward run goes: the forward run from first to last, then the stroke reversed
    made = forward;
    made.insert(made.end(), stroke.rbegin(), stroke.rend());
  }
  if (made.size() < 3) return std::nullopt;
  ImageOutline out = outline;
  ring_of(out, first->part, first->ring) = std::move(made);
  return out;
}

std::vector<ImagePoint> handles(const Ring<ImagePoint>& ring, double step) {
  if (ring.size() <= 24) return ring;
  double length = 0;
  for (std::size_t i = 0; i < ring.size(); ++i) length += uroko::distance(ring[i], ring[(i + 1) % ring.size()]);
  const int count = std::clamp(static_cast<int>(length / std::max(step, 1e-6)), 6, 48);
  std::vector<ImagePoint> out;
  double arc = 0, next = 0;
  for (std::size_t i = 0; i < ring.size() && static_cast<int>(out.size()) < count; ++i) {
    if (arc >= next) {
      out.push_back(ring[i]);
      next += length / count;
    }
    arc += uroko::distance(ring[i], ring[(i + 1) % ring.size()]);
  }
  return out;
}

}  // namespace uroko::app
