// Validity, set operations and WKT through GEOS's re-entrant C interface.
#include <geos_c.h>

#include <cmath>
#include <memory>
#include <stdexcept>

#include "uroko/base/text.h"
#include "uroko/geometry/polygon.h"

namespace uroko {

namespace {

/// One GEOS context a call: cheap, and no state shared between threads. Keeps the last message.
class Geos {
 public:
  Geos() : handle_(GEOS_init_r()) { GEOSContext_setErrorMessageHandler_r(handle_, &Geos::keep, this); }
  Geos(const Geos&) = delete;
  Geos& operator=(const Geos&) = delete;
  ~Geos() { GEOS_finish_r(handle_); }
  operator GEOSContextHandle_t() const { return handle_; }
  const std::string& message() const { return message_; }

 private:
  static void keep(const char* text, void* self) { static_cast<Geos*>(self)->message_ = text; }
  GEOSContextHandle_t handle_;
  std::string message_;
};

struct Destroy {
  const Geos* geos;
  void operator()(GEOSGeometry* g) const { GEOSGeom_destroy_r(*geos, g); }
};
using Geometry = std::unique_ptr<GEOSGeometry, Destroy>;

Geometry own(const Geos& geos, GEOSGeometry* g) {
  if (!g) throw std::runtime_error("GEOS: " + geos.message());
  return Geometry(g, Destroy{&geos});
}

template <class P>
Geometry ring_of(const Geos& geos, const Ring<P>& ring) {
  const auto n = static_cast<unsigned>(ring.size());
  GEOSCoordSequence* seq = GEOSCoordSeq_create_r(geos, n + 1, 2);
  if (!seq) throw std::runtime_error("GEOS: " + geos.message());
  for (unsigned i = 0; i <= n; ++i) GEOSCoordSeq_setXY_r(geos, seq, i, ring[i % n].x, ring[i % n].y);
  return own(geos, GEOSGeom_createLinearRing_r(geos, seq));
}

template <class P>
Geometry to_geos(const Geos& geos, const Outline<P>& outline) {
  std::vector<GEOSGeometry*> parts;
  for (const auto& part : outline.parts) {
    std::vector<GEOSGeometry*> holes;
    auto outer = ring_of(geos, part.outer);
    for (const auto& hole : part.holes) holes.push_back(ring_of(geos, hole).release());
    parts.push_back(GEOSGeom_createPolygon_r(geos, outer.release(), holes.data(), static_cast<unsigned>(holes.size())));
  }
  return own(geos, GEOSGeom_createCollection_r(geos, GEOS_MULTIPOLYGON, parts.data(), static_cast<unsigned>(parts.size())));
}

template <class P>
Ring<P> ring_from(const Geos& geos, const GEOSGeometry* g) {
  const GEOSCoordSequence* seq = GEOSGeom_getCoordSeq_r(geos, g);
  unsigned n = 0;
  GEOSCoordSeq_getSize_r(geos, seq, &n);
  Ring<P> ring;
  for (unsigned i = 0; i + 1 < n; ++i) {
    P p;
    GEOSCoordSeq_getXY_r(geos, seq, i, &p.x, &p.y);
    ring.push_back(p);
  }
  return ring;
}

template <class P>
void collect(const Geos& geos, const GEOSGeometry* g, Outline<P>& out) {
  const int kind = GEOSGeomTypeId_r(geos, g);
  if (kind == GEOS_POLYGON) {
    if (GEOSisEmpty_r(geos, g)) return;
    Polygon<P> part{ring_from<P>(geos, GEOSGetExteriorRing_r(geos, g)), {}};
    for (int i = 0; i < GEOSGetNumInteriorRings_r(geos, g); ++i) part.holes.push_back(ring_from<P>(geos, GEOSGetInteriorRingN_r(geos, g, i)));
    out.parts.push_back(std::move(part));
  } else if (kind == GEOS_MULTIPOLYGON || kind == GEOS_GEOMETRYCOLLECTION) {
    for (int i = 0; i < GEOSGetNumGeometries_r(geos, g); ++i) collect(geos, GEOSGetGeometryN_r(geos, g, i), out);
  }
}

template <class P>
Outline<P> from_geos(const Geos& geos, const Geometry& g) {
  Outline<P> out;
  collect(geos, g.get(), out);
  return out;
}

Geometry read_wkt(const Geos& geos, const std::string& wkt) {
  GEOSWKTReader* reader = GEOSWKTReader_create_r(geos);
  GEOSGeometry* g = GEOSWKTReader_read_r(geos, reader, wkt.c_str());
  GEOSWKTReader_destroy_r(geos, reader);
  if (!g) throw std::invalid_argument("not well-known text (" + geos.message() + ")");
  return Geometry(g, Destroy{&geos});
}

template <class P>
std::string ring_text(const Ring<P>& ring, int decimals) {
  std::string out = "(";
  for (std::size_t i = 0; i <= ring.size(); ++i) {
    const P& p = ring[i % ring.size()];
    if (i) out += ", ";
    out += fixed_text(p.x, decimals) + " " + fixed_text(p.y, decimals);
  }
  return out + ")";
}

template <class P>
std::string polygon_text(const Polygon<P>& part, int decimals) {
  std::string out = "(" + ring_text(part.outer, decimals);
  for (const auto& hole : part.holes) out += ", " + ring_text(hole, decimals);
  return out + ")";
}

std::string at_place(double x, double y) { return " near " + fixed_text(x, 1) + ", " + fixed_text(y, 1); }

}  // namespace

template <class P>
std::optional<OutlineFault> find_fault(const Outline<P>& outline) {
  using Kind = OutlineFault::Kind;
  if (outline.empty()) return OutlineFault{Kind::empty, 0, 0, "the outline is empty"};
  for (const auto& part : outline.parts) {
    const auto check = [&](const Ring<P>& ring) -> std::optional<OutlineFault> {
      for (const auto& p : ring)
        if (!std::isfinite(p.x) || !std::isfinite(p.y)) return OutlineFault{Kind::not_finite, 0, 0, "a point of the outline is not a number"};
      if (ring.size() < 3) {
        const P p = ring.empty() ? P{} : ring.front();
        return OutlineFault{Kind::too_few_points, p.x, p.y, "a ring of the outline has fewer than three points"};
      }
      const auto extent = calipers(Outline<P>{{{ring, {}}}});
      if (!(extent.width > 1e-9 * extent.length)) return OutlineFault{Kind::no_area, ring[0].x, ring[0].y, "the outline encloses no area"};
      return std::nullopt;
    };
    if (auto fault = check(part.outer)) return fault;
    for (const auto& hole : part.holes)
      if (auto fault = check(hole)) return fault;
  }
  Geos geos;
  const auto g = to_geos(geos, outline);
  char* reason = nullptr;
  GEOSGeometry* place = nullptr;
  const char valid = GEOSisValidDetail_r(geos, g.get(), 0, &reason, &place);
  if (valid == 1) {
    if (!(area(outline) > 0)) return OutlineFault{Kind::no_area, outline.parts[0].outer[0].x, outline.parts[0].outer[0].y, "the outline encloses no area"};
    return std::nullopt;
  }
  OutlineFault fault{Kind::other, 0, 0, ""};
  const std::string why = reason ? reason : geos.message();
  if (reason) GEOSFree_r(geos, reason);
  if (place) {
    GEOSGeomGetX_r(geos, place, &fault.x);
    GEOSGeomGetY_r(geos, place, &fault.y);
    GEOSGeom_destroy_r(geos, place);
  }
  const auto says = [&](const char* word) { return why.find(word) != std::string::npos; };
  if (says("Self-intersection") || says("Ring Self")) {
    fault.kind = Kind::crosses_itself;
    fault.text = "the outline crosses itself";
  } else if (says("Hole lies outside") || says("Holes are nested") || says("Interior is disconnected")) {
    fault.kind = Kind::hole_outside;
    fault.text = "a hole does not lie inside its part";
  } else if (says("Nested shells") || says("Duplicate")) {
    fault.kind = Kind::parts_overlap;
    fault.text = "two parts overlap";
  } else if (says("Too few")) {
    fault.kind = Kind::no_area;
    fault.text = "the outline encloses no area";
  } else {
    fault.text = "the outline is not valid (" + why + ")";
  }
  fault.text += at_place(fault.x, fault.y);
  return fault;
}

template <class P>
Outline<P> intersection(const Outline<P>& a, const Outline<P>& b) {
  Geos geos;
  const auto ga = to_geos(geos, a), gb = to_geos(geos, b);
  return from_geos<P>(geos, own(geos, GEOSIntersection_r(geos, ga.get(), gb.get())));
}
template <class P>
Outline<P> united(const Outline<P>& a, const Outline<P>& b) {
  Geos geos;
  const auto ga = to_geos(geos, a), gb = to_geos(geos, b);
  return from_geos<P>(geos, own(geos, GEOSUnion_r(geos, ga.get(), gb.get())));
}
template <class P>
Outline<P> difference(const Outline<P>& a, const Outline<P>& b) {
  Geos geos;
  const auto ga = to_geos(geos, a), gb = to_geos(geos, b);
  return from_geos<P>(geos, own(geos, GEOSDifference_r(geos, ga.get(), gb.get())));
}
template <class P>
Outline<P> buffered(const Outline<P>& outline, double distance) {
  Geos geos;
  const auto g = to_geos(geos, outline);
  return from_geos<P>(geos, own(geos, GEOSBuffer_r(geos, g.get(), distance, 16)));
}
template <class P>
Outline<P> made_valid(const Outline<P>& outline) {
  Geos geos;
  const auto g = to_geos(geos, outline);
  return from_geos<P>(geos, own(geos, GEOSMakeValid_r(geos, g.get())));
}

template <class P>
double dice(const Outline<P>& a, const Outline<P>& b) {
  return 2 * area(intersection(a, b)) / (area(a) + area(b));
}

template <class P>
Outline<P> outline_from_wkt(const std::string& wkt) {
  Geos geos;
  const auto g = read_wkt(geos, wkt);
  const int kind = GEOSGeomTypeId_r(geos, g.get());
  if (kind != GEOS_POLYGON && kind != GEOS_MULTIPOLYGON) throw std::invalid_argument("not a POLYGON or MULTIPOLYGON");
  auto outline = from_geos<P>(geos, g);
  if (outline.empty()) throw std::invalid_argument("the polygon is empty");
  return outline;
}

template <class P>
std::string to_wkt(const Outline<P>& outline, int decimals) {
  if (outline.empty()) return "POLYGON EMPTY";
  if (outline.parts.size() == 1) return "POLYGON " + polygon_text(outline.parts[0], decimals);
  std::string out = "MULTIPOLYGON (";
  for (std::size_t i = 0; i < outline.parts.size(); ++i) out += (i ? ", " : "") + polygon_text(outline.parts[i], decimals);
  return out + ")";
}

std::vector<std::vector<ImagePoint>> lines_from_wkt(const std::string& wkt) {
  Geos geos;
  const auto g = read_wkt(geos, wkt);
  std::vector<std::vector<ImagePoint>> lines;
  for (int i = 0; i < GEOSGetNumGeometries_r(geos, g.get()); ++i) {
    const GEOSGeometry* one = GEOSGetGeometryN_r(geos, g.get(), i);
    const int kind = GEOSGeomTypeId_r(geos, one);
    if ((kind != GEOS_LINESTRING && kind != GEOS_POINT) || GEOSisEmpty_r(geos, one)) throw std::invalid_argument("not a LINESTRING");
    const GEOSCoordSequence* seq = GEOSGeom_getCoordSeq_r(geos, one);
    unsigned n = 0;
    GEOSCoordSeq_getSize_r(geos, seq, &n);
    std::vector<ImagePoint> line(n);
    for (unsigned k = 0; k < n; ++k) GEOSCoordSeq_getXY_r(geos, seq, k, &line[k].x, &line[k].y);
    lines.push_back(std::move(line));
  }
  if (lines.empty()) throw std::invalid_argument("the line is empty");
  return lines;
}

std::string line_to_wkt(const std::vector<ImagePoint>& line, int decimals) {
  std::string out = "LINESTRING (";
  for (std::size_t i = 0; i < line.size(); ++i) out += (i ? ", " : "") + fixed_text(line[i].x, decimals) + " " + fixed_text(line[i].y, decimals);
  return out + ")";
}

#define UROKO_FOR(P)                                                        \
  template std::optional<OutlineFault> find_fault(const Outline<P>&);       \
  template Outline<P> intersection(const Outline<P>&, const Outline<P>&);   \
  template Outline<P> united(const Outline<P>&, const Outline<P>&);         \
  template Outline<P> difference(const Outline<P>&, const Outline<P>&);     \
  template Outline<P> buffered(const Outline<P>&, double);                  \
  template Outline<P> made_valid(const Outline<P>&);                        \
  template double dice(const Outline<P>&, const Outline<P>&);               \
  template Outline<P> outline_from_wkt(const std::string&);                 \
  template std::string to_wkt(const Outline<P>&, int);
UROKO_FOR(ImagePoint)
UROKO_FOR(PlanePoint)
#undef UROKO_FOR

}  // namespace uroko
