// The product uses its own shoelace sums and GEOS; here Boost.Geometry (package libboost-dev) says the same, independently.
#include <boost/geometry.hpp>
#include <boost/geometry/geometries/point_xy.hpp>
#include <boost/geometry/geometries/polygon.hpp>
#include <boost/math/special_functions/ellint_2.hpp>
#include <catch2/catch.hpp>

#include "uroko/base/random.h"
#include "uroko/geometry/polygon.h"

using namespace uroko;
namespace bg = boost::geometry;
using BoostPoint = bg::model::d2::point_xy<double>;
using BoostPolygon = bg::model::polygon<BoostPoint>;

namespace {

/// A star-shaped ring: never crosses itself.
Ring<PlanePoint> star(Random& random, int n, PlanePoint centre, double low, double high) {
  Ring<PlanePoint> ring;
  for (int i = 0; i < n; ++i) {
    const double angle = 2 * M_PI * i / n, r = random.uniform(low, high);
    ring.push_back({centre.x + r * std::cos(angle), centre.y + r * std::sin(angle)});
  }
  return ring;
}

BoostPolygon to_boost(const Polygon<PlanePoint>& part) {
  BoostPolygon out;
  for (const auto& p : part.outer) bg::append(out.outer(), BoostPoint(p.x, p.y));
  for (const auto& hole : part.holes) {
    out.inners().emplace_back();
    for (const auto& p : hole) bg::append(out.inners().back(), BoostPoint(p.x, p.y));
  }
  bg::correct(out);
  return out;
}

}  // namespace

TEST_CASE("areas, perimeters, centroids and validity agree with Boost.Geometry") {
  Random random(20260302);
  for (int round = 0; round < 200; ++round) {
    const PlanePoint centre{random.uniform(-500, 500), random.uniform(-500, 500)};
    Polygon<PlanePoint> part{star(random, 3 + random.index(60), centre, 10, 30), {}};
    if (round % 2) part.holes.push_back(star(random, 3 + random.index(20), centre, 0.5, 2));
    const PlaneOutline outline{{part}};
    const auto boost = to_boost(part);
    INFO("round " << round);
    const bool valid = bg::is_valid(boost);
    CHECK(!find_fault(outline).has_value() == valid);
    if (!valid) continue;
    CHECK(area(outline) == Approx(bg::area(boost)).epsilon(1e-10));
    CHECK(perimeter(outline) == Approx(bg::perimeter(boost)).epsilon(1e-12));
    BoostPoint middle;
    bg::centroid(boost, middle);
    CHECK(centroid(outline).x == Approx(middle.x()).margin(1e-7));
    CHECK(centroid(outline).y == Approx(middle.y()).margin(1e-7));
  }
}

TEST_CASE("the overlap of two outlines agrees with Boost.Geometry") {
  Random random(5);
  for (int round = 0; round < 60; ++round) {
    const PlaneOutline a{{{star(random, 24, {0, 0}, 10, 20), {}}}}, b{{{star(random, 24, {random.uniform(-8, 8), 0}, 10, 20), {}}}};
    std::vector<BoostPolygon> common;
    bg::intersection(to_boost(a.parts[0]), to_boost(b.parts[0]), common);
    double sum = 0;
    for (const auto& piece : common) sum += bg::area(piece);
    // Boost.Geometry 1.74 intersects on an integer grid of about 1e7 steps across.
    CHECK(dice(a, b) == Approx(2 * sum / (area(a) + area(b))).epsilon(1e-6));
  }
}

TEST_CASE("a finely traced ellipse has the ellipse's area, perimeter and calipers") {
  // Perimeter 4 a E(k) by Boost.Math's complete elliptic integral of the second kind.
  const double a = 21, b = 14, k = std::sqrt(1 - b * b / (a * a));
  Ring<PlanePoint> ring;
  const int n = 4000;
  for (int i = 0; i < n; ++i) ring.push_back({a * std::cos(2 * M_PI * i / n), b * std::sin(2 * M_PI * i / n)});
  const PlaneOutline ellipse{{{ring, {}}}};
  // A polygon inscribed with n points falls short by about (2 pi / n)^2 / 6.
  const double short_by = std::pow(2 * M_PI / n, 2) / 6;
  CHECK(area(ellipse) == Approx(M_PI * a * b).epsilon(1.5 * short_by));
  CHECK(perimeter(ellipse) == Approx(4 * a * boost::math::ellint_2(k)).epsilon(1.5 * short_by));
  CHECK(calipers(ellipse).length == Approx(2 * a).epsilon(short_by));
  CHECK(calipers(ellipse).width == Approx(2 * b).epsilon(short_by));
  // Length x width over-reads an ellipse by 4 / pi - 1 = 27.324 % (derived).
  CHECK(calipers(ellipse).length * calipers(ellipse).width / area(ellipse) - 1 == Approx(0.27324).margin(5e-5));
}
