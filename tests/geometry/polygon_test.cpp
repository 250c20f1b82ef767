#include <catch2/catch.hpp>

#include "uroko/base/random.h"
#include "uroko/geometry/homography.h"
#include "uroko/geometry/polygon.h"

using namespace uroko;

TEST_CASE("a rectangle has the area, perimeter, length and width of a rectangle") {
  const PlaneOutline box{{{{{0, 0}, {42, 0}, {42, 28}, {0, 28}}, {}}}};
  CHECK(area(box) == Approx(1176));
  CHECK(perimeter(box) == Approx(140));
  const auto c = calipers(box);
  CHECK(c.length == Approx(std::hypot(42, 28)));
  CHECK(c.width == Approx(2 * 42 * 28 / std::hypot(42, 28)));
  CHECK_FALSE(find_fault(box));
}

TEST_CASE("a bow tie is told as crossing itself, with the place") {
  const ImageOutline bow{{{{{0, 0}, {10, 10}, {10, 0}, {0, 10}}, {}}}};
  const auto fault = find_fault(bow);
  REQUIRE(fault);
  CHECK(fault->kind == OutlineFault::Kind::crosses_itself);
  CHECK(fault->x == Approx(5));
  CHECK(fault->y == Approx(5));
}

TEST_CASE("well-known text survives the round trip with holes and parts") {
  const auto outline = outline_from_wkt<ImagePoint>("MULTIPOLYGON(((0 0,10 0,10 10,0 10,0 0),(2 2,2 4,4 4,4 2,2 2)),((20 20,30 20,25 30,20 20)))");
  CHECK(area(outline) == Approx(100 - 4 + 50));
  CHECK(outline_from_wkt<ImagePoint>(to_wkt(outline)) == outline);
  CHECK_THROWS_AS(outline_from_wkt<ImagePoint>("POLYGON((0 0, 1"), std::invalid_argument);
  CHECK_THROWS_AS(outline_from_wkt<ImagePoint>("LINESTRING(0 0, 1 1)"), std::invalid_argument);
}

TEST_CASE("a fitted homography finds the true map and its covariance fits repeated noise") {
  Eigen::Matrix3d h;
  h << 0.08, 0.01, -20, -0.012, 0.085, -30, 1e-5, 2e-5, 1;
  const Homography<ImagePoint, PlanePoint> truth(h);
  std::vector<ImagePoint> from;
  for (int i = 0; i < 5; ++i)
    for (int j = 0; j < 4; ++j) from.push_back({1000.0 + 300 * i, 900.0 + 250 * j});
  std::vector<PlanePoint> to;
  for (const auto& p : from) to.push_back(truth(p));
  const auto exact = fit_homography(from, to);
  REQUIRE(exact);
  CHECK(distance((*exact).to_from({3000, 200}), truth({3000, 200})) < 1e-6);

  Random random(7);
  double sum2 = 0, predicted = 0;
  const int rounds = 400;
  const ImagePoint probe{2600, 1800};
  for (int k = 0; k < rounds; ++k) {
    auto noisy = from;
    for (auto& p : noisy) p.x += random.normal(0, 0.5), p.y += random.normal(0, 0.5);
    const auto fit = fit_homography(noisy, to);
    REQUIRE(fit);
    sum2 += std::pow(fit->to_from(probe).x - truth(probe).x, 2);
    const auto& m = fit->to_from.matrix();
    const double w = m(2, 0) * probe.x + m(2, 1) * probe.y + 1, x = fit->to_from(probe).x;
    Eigen::Matrix<double, 1, 8> g;
    g << probe.x / w, probe.y / w, 1 / w, 0, 0, 0, -x * probe.x / w, -x * probe.y / w;
    predicted += g * fit->covariance * g.transpose();
  }
  CHECK(sum2 / predicted == Approx(1).margin(0.2));
}

TEST_CASE("turning, mirroring, reversing and moving an outline leave its measures unchanged") {
  Random random(11);
  for (int round = 0; round < 50; ++round) {
    Ring<PlanePoint> ring;
    const int n = 5 + random.index(40);
    for (int i = 0; i < n; ++i) {
      const double t = 2 * M_PI * i / n, r = random.uniform(5, 20);
      ring.push_back({r * std::cos(t), r * std::sin(t)});
    }
    const PlaneOutline outline{{{ring, {}}}};
    const double turn = random.uniform(0, 7), dx = random.uniform(-1e4, 1e4);
    auto moved = mapped<PlanePoint, PlanePoint>(outline, [&](const PlanePoint& p) {
      return PlanePoint{-(p.x * std::cos(turn) - p.y * std::sin(turn)) + dx, p.x * std::sin(turn) + p.y * std::cos(turn)};
    });
    std::reverse(moved.parts[0].outer.begin(), moved.parts[0].outer.end());
    const auto before = calipers(outline), after = calipers(moved);
    CHECK(area(moved) == Approx(area(outline)).epsilon(1e-9));
    CHECK(perimeter(moved) == Approx(perimeter(outline)).epsilon(1e-9));
    CHECK(after.length == Approx(before.length).epsilon(1e-9));
    // The longest caliper by looking at every pair.
    double longest = 0;
    for (const auto& p : ring)
      for (const auto& q : ring) longest = std::max(longest, distance(p, q));
    CHECK(before.length == Approx(longest).epsilon(1e-12));
  }
}

TEST_CASE("a lattice square and a lattice circle hold what counting says") {
  // Gauss's circle problem N(0..7), N(10): lattice points in a disc (OEIS A000328, in domain tables); here by point-in-outline.
  const int counts[] = {1, 5, 13, 29, 49, 81, 113, 149, -1, -1, 317};
  for (int r = 1; r <= 10; ++r) {
    if (counts[r] < 0) continue;
    Ring<ImagePoint> ring;
    // A hair beyond r takes in the points on the circle.
    for (int i = 0; i < 20000; ++i) ring.push_back({(r + 1e-5) * std::cos(2 * M_PI * i / 20000), (r + 1e-5) * std::sin(2 * M_PI * i / 20000)});
    const ImageOutline disc{{{ring, {}}}};
    int inside = 0;
    for (int x = -r; x <= r; ++x)
      for (int y = -r; y <= r; ++y) inside += contains(disc, ImagePoint{double(x), double(y)});
    CHECK(inside == counts[r]);
  }
}

TEST_CASE("every kind of invalid outline is told with its kind") {
  using Kind = OutlineFault::Kind;
  const auto kind = [](const ImageOutline& o) { return find_fault(o).value().kind; };
  CHECK(kind({}) == Kind::empty);
  CHECK(kind({{{{{0, 0}, {1, 1}}, {}}}}) == Kind::too_few_points);
  CHECK(kind({{{{{0, 0}, {1, 1}, {2, NAN}}, {}}}}) == Kind::not_finite);
  CHECK(kind({{{{{0, 0}, {5, 5}, {10, 10}}, {}}}}) == Kind::no_area);
  const Ring<ImagePoint> box = {{0, 0}, {10, 0}, {10, 10}, {0, 10}}, far = {{20, 20}, {30, 20}, {30, 30}}, shifted = {{5, 5}, {15, 5}, {15, 15}, {5, 15}};
  CHECK(kind({{{box, {far}}}}) == Kind::hole_outside);
  CHECK(kind({{{box, {}}, {shifted, {}}}}) == Kind::crosses_itself);
}

TEST_CASE("holes are taken off the area, counted in the perimeter, and are not inside") {
  const ImageOutline ring = outline_from_wkt<ImagePoint>("POLYGON((0 0,10 0,10 10,0 10,0 0),(2 2,2 4,4 4,4 2,2 2))");
  CHECK(area(ring) == Approx(96));
  CHECK(perimeter(ring) == Approx(48));
  CHECK(contains(ring, ImagePoint{1, 1}));
  CHECK_FALSE(contains(ring, ImagePoint{3, 3}));
  CHECK(area(densified(ring, 0.3)) == Approx(96));
  CHECK(centroid(ring).x == Approx((100 * 5 - 4 * 3) / 96.0));
}

TEST_CASE("growing and shrinking an outline follows Steiner's formula") {
  // Area of a convex shape grown by d: A + P d + pi d^2 (Steiner); GEOS makes corners of 16 pieces a quarter.
  const PlaneOutline box{{{{{0, 0}, {20, 0}, {20, 10}, {0, 10}}, {}}}};
  CHECK(area(buffered(box, 2.0)) == Approx(200 + 60 * 2 + M_PI * 4).epsilon(1e-3));
  CHECK(area(buffered(box, -2.0)) == Approx(16 * 6));
}
