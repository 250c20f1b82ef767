// Edits of an outline: vertices, stretches, parts and holes.
#include "uroko/margin/edits.h"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "margin/rings.h"

namespace uroko::margin {

namespace {

int ring_count(const Polygon<ImagePoint>& part) { return 1 + static_cast<int>(part.holes.size()); }
const Ring<ImagePoint>& ring_of(const Polygon<ImagePoint>& part, int k) { return k == 0 ? part.outer : part.holes[static_cast<std::size_t>(k - 1)]; }
Ring<ImagePoint>& ring_of(Polygon<ImagePoint>& part, int k) { return k == 0 ? part.outer : part.holes[static_cast<std::size_t>(k - 1)]; }

bool finite(const ImagePoint& p) { return std::isfinite(p.x) && std::isfinite(p.y); }
bool finite(const std::vector<ImagePoint>& line) {
  return std::all_of(line.begin(), line.end(), [](const ImagePoint& p) { return finite(p); });
}

Refusal no_vertex() { return {"no-vertex", "there is no such vertex in the outline", "pick a vertex of the outline"}; }
Refusal bad_line() { return {"line-points", "the line has too few points, or one that is not a number", "draw the line again"}; }
Refusal empty_outline() { return {"outline-empty", "there is no outline to edit", "draw or find a margin first"}; }

/// Distance of a point from a polyline.
double from_line(const std::vector<ImagePoint>& line, const ImagePoint& p) {
  double best = 1e300;
  for (std::size_t i = 0; i + 1 < line.size(); ++i) best = std::min(best, distance(nearest_on_segment(line[i], line[i + 1], p), p));
  return best;
}

/// The ring's points strictly after one place up to and including the vertex before another, going forward.
Ring<ImagePoint> stretch(const Ring<ImagePoint>& ring, const EdgePlace& from, const EdgePlace& to) {
  const int n = static_cast<int>(ring.size());
  int steps = (to.from.vertex - from.from.vertex + n) % n;
  // On the same line but behind: the whole way round.
  const auto along = [&](const EdgePlace& e) { return distance(ring[static_cast<std::size_t>(e.from.vertex)], e.at); };
  if (steps == 0 && along(to) < along(from)) steps = n;
  Ring<ImagePoint> out;
  for (int k = 1; k <= steps; ++k) out.push_back(ring[static_cast<std::size_t>((from.from.vertex + k) % n)]);
  return out;
}

double mean_distance(const Ring<ImagePoint>& points, const ImagePoint& a, const ImagePoint& b, const std::vector<ImagePoint>& line) {
  double sum = 0, weight = 0;
  ImagePoint last = a;
  const auto add = [&](const ImagePoint& p) {
    const double d = distance(last, p);
    const int pieces = std::max(1, static_cast<int>(d / 4));
    for (int k = 0; k < pieces; ++k) {
      const double t = (k + 0.5) / pieces;
      sum += d / pieces * from_line(line, {last.x + t * (p.x - last.x), last.y + t * (p.y - last.y)});
    }
    weight += d;
    last = p;
  };
  for (const auto& p : points) add(p);
  add(b);
  return weight > 0 ? sum / weight : 0;
}

}  // namespace

const Ring<ImagePoint>* ring_at(const ImageOutline& outline, const VertexRef& ref) {
  if (ref.part < 0 || ref.part >= static_cast<int>(outline.parts.size())) return nullptr;
  const auto& part = outline.parts[static_cast<std::size_t>(ref.part)];
  if (ref.ring < 0 || ref.ring >= ring_count(part)) return nullptr;
  return &ring_of(part, ref.ring);
}

std::optional<VertexRef> nearest_vertex(const ImageOutline& outline, const ImagePoint& p, double within_px) {
  std::optional<VertexRef> best;
  for (int i = 0; i < static_cast<int>(outline.parts.size()); ++i)
    for (int k = 0; k < ring_count(outline.parts[static_cast<std::size_t>(i)]); ++k) {
      const auto& ring = ring_of(outline.parts[static_cast<std::size_t>(i)], k);
      for (int v = 0; v < static_cast<int>(ring.size()); ++v)
        if (const double d = distance(ring[static_cast<std::size_t>(v)], p); d <= within_px) within_px = d, best = VertexRef{i, k, v};
    }
  return best;
}

std::optional<EdgePlace> nearest_edge(const ImageOutline& outline, const ImagePoint& p, double within_px) {
  std::optional<EdgePlace> best;
  for (int i = 0; i < static_cast<int>(outline.parts.size()); ++i)
    for (int k = 0; k < ring_count(outline.parts[static_cast<std::size_t>(i)]); ++k) {
      const auto& ring = ring_of(outline.parts[static_cast<std::size_t>(i)], k);
      for (std::size_t v = 0; v < ring.size(); ++v) {
        const auto at = nearest_on_segment(ring[v], ring[(v + 1) % ring.size()], p);
        if (const double d = distance(at, p); d <= within_px) within_px = d, best = EdgePlace{{i, k, static_cast<int>(v)}, at, d};
      }
    }
  return best;
}

Result<ImageOutline> repaired(const ImageOutline& outline, double most) {
  const auto fault = find_fault(outline);
  if (!fault) return outline;
  const Refusal refusal{"outline-invalid", fault->text, "take the last step back or draw that stretch again"};
  using Kind = OutlineFault::Kind;
  if (fault->kind == Kind::empty || fault->kind == Kind::too_few_points || fault->kind == Kind::not_finite) return refusal;
  auto fixed = made_valid(outline);
  const double whole = area(fixed);
  if (!(whole > 0)) return refusal;
  // What MakeValid splits off: crumbs go; two halves of a figure of eight are not ours to choose between.
  largest_first(fixed);
  double crumbs = 0;
  while (fixed.parts.size() > outline.parts.size()) {
    crumbs += area(ImageOutline{{fixed.parts.back()}});
    fixed.parts.pop_back();
  }
  for (auto& part : fixed.parts)
    std::erase_if(part.holes, [&](const auto& hole) {
      const double a = std::abs(signed_area(hole));
      const bool old = std::any_of(outline.parts.begin(), outline.parts.end(), [](const auto& p) { return !p.holes.empty(); });
      if (old || a > most * whole) return false;
      crumbs += a;
      return true;
    });
  if (crumbs > most * whole || find_fault(fixed)) return refusal;
  std::size_t holes_before = 0, holes_after = 0;
  for (const auto& part : outline.parts) holes_before += part.holes.size();
  for (const auto& part : fixed.parts) holes_after += part.holes.size();
  if (fixed.parts.size() != outline.parts.size() || holes_after > holes_before) return refusal;
  return fixed;
}

Result<ImageOutline> insert_vertex(const ImageOutline& outline, const ImagePoint& at) {
  if (!finite(at)) return bad_line();
  const auto place = nearest_edge(outline, at, 1e9);
  if (!place) return empty_outline();
  auto out = outline;
  auto& ring = ring_of(out.parts[static_cast<std::size_t>(place->from.part)], place->from.ring);
  ring.insert(ring.begin() + place->from.vertex + 1, at);
  return repaired(out);
}

Result<ImageOutline> move_vertex(const ImageOutline& outline, const VertexRef& ref, const ImagePoint& to) {
  const auto* ring = ring_at(outline, ref);
  if (!ring || ref.vertex < 0 || ref.vertex >= static_cast<int>(ring->size())) return no_vertex();
  if (!finite(to)) return bad_line();
  auto out = outline;
  ring_of(out.parts[static_cast<std::size_t>(ref.part)], ref.ring)[static_cast<std::size_t>(ref.vertex)] = to;
  return repaired(out);
}

Result<ImageOutline> delete_vertex(const ImageOutline& outline, const VertexRef& ref) {
  const auto* ring = ring_at(outline, ref);
  if (!ring || ref.vertex < 0 || ref.vertex >= static_cast<int>(ring->size())) return no_vertex();
  if (ring->size() <= 3) return Refusal{"ring-points", "a ring needs three vertices", "remove the whole part or fill the hole instead"};
  auto out = outline;
  auto& edited = ring_of(out.parts[static_cast<std::size_t>(ref.part)], ref.ring);
  edited.erase(edited.begin() + ref.vertex);
  return repaired(out);
}

Result<ImageOutline> redraw(const ImageOutline& outline, const std::vector<ImagePoint>& line) {
  if (line.size() < 2 || !finite(line)) return bad_line();
  const auto a = nearest_edge(outline, line.front(), 1e9);
  if (!a) return empty_outline();
  // The other end on the same ring.
  const auto& part = outline.parts[static_cast<std::size_t>(a->from.part)];
  const auto& ring = ring_of(part, a->from.ring);
  auto b = nearest_edge(ImageOutline{{{ring, {}}}}, line.back(), 1e9);
  if (!b) return empty_outline();
  b->from.part = a->from.part;
  b->from.ring = a->from.ring;
  const auto forward = stretch(ring, *a, *b), onward = stretch(ring, *b, *a);
  Ring<ImagePoint> out(line.begin(), line.end());
  if (mean_distance(forward, a->at, b->at, line) <= mean_distance(onward, b->at, a->at, line)) {
    // The stretch from a to b goes: the line, then on from b to a.
    out.insert(out.end(), onward.begin(), onward.end());
  } else {
    // The other way round goes: the line, then backwards from b to a.
    out.insert(out.end(), forward.rbegin(), forward.rend());
  }
  auto edited = outline;
  ring_of(edited.parts[static_cast<std::size_t>(a->from.part)], a->from.ring) = out;
  return repaired(edited);
}

Result<ImageOutline> push(const ImageOutline& outline, const ImagePoint& from, const ImagePoint& to, double radius_px) {
  if (outline.empty()) return empty_outline();
  if (!finite(from) || !finite(to) || !(radius_px > 0)) return bad_line();
  auto out = outline;
  const double step = radius_px / 6;
  for (auto& part : out.parts)
    for (int k = 0; k < ring_count(part); ++k) {
      const auto old = ring_of(part, k);
      Ring<ImagePoint> ring;
      for (std::size_t i = 0; i < old.size(); ++i) {
        const auto &p = old[i], &q = old[(i + 1) % old.size()];
        ring.push_back(p);
        // Lines that pass under the brush need vertices there to bend.
        if (distance(nearest_on_segment(p, q, from), from) >= radius_px) continue;
        const int pieces = static_cast<int>(std::ceil(distance(p, q) / step));
        for (int t = 1; t < pieces; ++t) {
          const ImagePoint m{p.x + (q.x - p.x) * t / pieces, p.y + (q.y - p.y) * t / pieces};
          if (distance(m, from) < radius_px + step) ring.push_back(m);
        }
      }
      for (auto& p : ring) {
        const double d = distance(p, from) / radius_px;
        if (d >= 1) continue;
        const double share = 0.5 * (1 + std::cos(M_PI * d));
        p = {p.x + share * (to.x - from.x), p.y + share * (to.y - from.y)};
      }
      ring_of(part, k) = ring;
    }
  return repaired(out);
}

Result<ImageOutline> split(const ImageOutline& outline, const std::vector<ImagePoint>& line) {
  if (line.size() < 2 || !finite(line)) return bad_line();
  struct Crossing {
    std::size_t on_line, on_ring;
    double t;
    ImagePoint at;
  };
  for (std::size_t k = 0; k < outline.parts.size(); ++k) {
    const auto& ring = outline.parts[k].outer;
    std::vector<Crossing> crossings;
    for (std::size_t i = 0; i + 1 < line.size(); ++i)
      for (std::size_t j = 0; j < ring.size(); ++j) {
        const auto &a = line[i], &b = line[i + 1], &c = ring[j], &d = ring[(j + 1) % ring.size()];
        const double det = (b.x - a.x) * (d.y - c.y) - (b.y - a.y) * (d.x - c.x);
        if (det == 0) continue;
        const double t = ((c.x - a.x) * (d.y - c.y) - (c.y - a.y) * (d.x - c.x)) / det,
                     u = ((c.x - a.x) * (b.y - a.y) - (c.y - a.y) * (b.x - a.x)) / det;
        if (t >= 0 && t < 1 && u >= 0 && u < 1) crossings.push_back({i, j, t, {a.x + t * (b.x - a.x), a.y + t * (b.y - a.y)}});
      }
    if (crossings.empty()) continue;
    if (crossings.size() != 2)
      return Refusal{"split-crossings", "the line crosses the outline " + std::to_string(crossings.size()) + " times",
                     "draw it right across, in and out once"};
    std::sort(crossings.begin(), crossings.end(), [](const auto& a, const auto& b) { return a.on_line + a.t < b.on_line + b.t; });
    const auto &in = crossings[0], &out = crossings[1];
    std::vector<ImagePoint> cut{in.at};
    for (std::size_t i = in.on_line + 1; i <= out.on_line; ++i) cut.push_back(line[i]);
    cut.push_back(out.at);
    const EdgePlace from{{static_cast<int>(k), 0, static_cast<int>(in.on_ring)}, in.at, 0},
        to{{static_cast<int>(k), 0, static_cast<int>(out.on_ring)}, out.at, 0};
    // One half lies on each side of the cut.
    Ring<ImagePoint> first = stretch(ring, from, to), second = stretch(ring, to, from);
    first.insert(first.end(), cut.rbegin(), cut.rend());
    second.insert(second.end(), cut.begin(), cut.end());
    Polygon<ImagePoint> one{first, {}}, two{second, {}};
    for (const auto& hole : outline.parts[k].holes) {
      if (std::any_of(hole.begin(), hole.end(), [&](const auto& p) { return contains(ImageOutline{{{first, {}}}}, p); })) {
        if (std::any_of(hole.begin(), hole.end(), [&](const auto& p) { return contains(ImageOutline{{{second, {}}}}, p); }))
          return Refusal{"split-hole", "the line runs through a hole", "fill the hole first, or cut beside it"};
        one.holes.push_back(hole);
      } else {
        two.holes.push_back(hole);
      }
    }
    auto edited = outline;
    edited.parts.erase(edited.parts.begin() + static_cast<std::ptrdiff_t>(k));
    edited.parts.push_back(one);
    edited.parts.push_back(two);
    largest_first(edited);
    // Both halves touch along the cut: parts that share a line are not valid together, so the cut is opened by a hair.
    if (find_fault(edited)) {
      const double hair = 1e-3;
      ImageOutline opened;
      for (const auto& part : edited.parts)
        for (auto& p : buffered(ImageOutline{{part}}, -hair).parts) opened.parts.push_back(p);
      if (opened.parts.size() != edited.parts.size())
        return Refusal{"split-crossings", "the cut leaves slivers", "draw it further from the outline's own line"};
      edited = opened;
    }
    return repaired(edited);
  }
  return Refusal{"split-crossings", "the line does not cross the outline", "draw it right across the wound"};
}

Result<ImageOutline> join(const ImageOutline& outline, const std::vector<ImagePoint>& line, double width_px) {
  if (line.size() < 2 || !finite(line) || !(width_px > 0)) return bad_line();
  if (outline.empty()) return empty_outline();
  auto joined = outline;
  for (std::size_t i = 0; i + 1 < line.size(); ++i) {
    const auto &a = line[i], &b = line[i + 1];
    const double d = distance(a, b);
    if (d <= 0) continue;
    const double nx = -(b.y - a.y) / d * width_px / 2, ny = (b.x - a.x) / d * width_px / 2;
    const ImageOutline bridge{{{{{a.x + nx, a.y + ny}, {b.x + nx, b.y + ny}, {b.x - nx, b.y - ny}, {a.x - nx, a.y - ny}}, {}}}};
    joined = united(joined, bridge);
  }
  if (joined.parts.size() >= outline.parts.size())
    return Refusal{"join-parts", "the line does not join two parts", "draw it from one part into another"};
  largest_first(joined);
  return repaired(joined);
}

Result<ImageOutline> add_part(const ImageOutline& outline, const Ring<ImagePoint>& ring) {
  if (ring.size() < 3 || !finite(ring)) return bad_line();
  auto part = repaired(ImageOutline{{{ring, {}}}});
  if (!part) return part.refusal();
  auto joined = outline.empty() ? *part : united(outline, *part);
  largest_first(joined);
  return repaired(joined);
}

Result<ImageOutline> remove_part(const ImageOutline& outline, const ImagePoint& inside) {
  auto out = outline;
  const auto n = std::erase_if(out.parts, [&](const auto& part) { return contains(ImageOutline{{part}}, inside); });
  if (n == 0) return Refusal{"no-part", "there is no part there", "point into the part to remove"};
  if (out.empty()) return Refusal{"no-part", "it is the only part of the wound", "discard the margin instead"};
  return out;
}

Result<ImageOutline> fill_hole(const ImageOutline& outline, const ImagePoint& inside) {
  auto out = outline;
  std::size_t n = 0;
  for (auto& part : out.parts) n += std::erase_if(part.holes, [&](const auto& hole) { return contains(ImageOutline{{{hole, {}}}}, inside); });
  if (n == 0) return Refusal{"no-hole", "there is no hole there", "point into the hole to fill"};
  return out;
}

Result<ImageOutline> cut_hole(const ImageOutline& outline, const Ring<ImagePoint>& ring) {
  if (outline.empty()) return empty_outline();
  if (ring.size() < 3 || !finite(ring)) return bad_line();
  auto hole = repaired(ImageOutline{{{ring, {}}}});
  if (!hole) return hole.refusal();
  auto out = difference(outline, *hole);
  if (out.empty()) return Refusal{"nothing-left", "the hole takes in the whole wound", "draw a smaller one"};
  if (area(outline) - area(out) < 1e-9 * area(outline))
    return Refusal{"hole-outside", "the hole lies outside the wound", "draw it inside the margin"};
  largest_first(out);
  return repaired(out);
}

Margin with_outline(const Margin& margin, const ImageOutline& outline) {
  Margin out = margin;
  out.outline = outline;
  out.doubt_px.clear();
  if (outline.empty() || margin.doubt_px.empty() || margin.outline.empty()) return out;
  const auto& old = margin.outline.parts.front().outer;
  for (const auto& p : outline.parts.front().outer) {
    double best = 1e300, doubt = margin.doubt_px.front();
    for (std::size_t i = 0; i < old.size() && i < margin.doubt_px.size(); ++i)
      if (const double d = distance(old[i], p); d < best) best = d, doubt = margin.doubt_px[i];
    out.doubt_px.push_back(doubt);
  }
  return out;
}

}  // namespace uroko::margin
