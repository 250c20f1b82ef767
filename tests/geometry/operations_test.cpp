#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <stdexcept>

#include "uroko/geometry/homography.h"
#include "uroko/geometry/polygon.h"

using namespace uroko;

namespace {
ImageOutline square(double x, double y, double side) { return {{{{{x, y}, {x + side, y}, {x + side, y + side}, {x, y + side}}, {}}}}; }
}  // namespace

TEST_CASE("set operations of two squares that overlap by half have the areas that arithmetic gives") {
  const auto a = square(0, 0, 10), b = square(5, 0, 10);
  CHECK(area(intersection(a, b)) == Approx(50));
  CHECK(area(united(a, b)) == Approx(150));
  CHECK(area(difference(a, b)) == Approx(50));
  CHECK(dice(a, b) == Approx(0.5));
  CHECK(dice(a, a) == Approx(1));
  CHECK(intersection(a, square(20, 20, 5)).empty());
  // Steiner's formula for a convex shape: area + perimeter r + pi r^2; arcs of 16 chords a quarter fall short by 0.2 % of the last term.
  CHECK(area(buffered(a, 1)) == Approx(100 + 40 + std::numbers::pi).margin(0.01));
  CHECK(area(buffered(a, -1)) == Approx(64));
}

TEST_CASE("an outline that crosses itself is mended to what it encloses, a sound one stays") {
  const ImageOutline bow{{{{{0, 0}, {10, 10}, {10, 0}, {0, 10}}, {}}}};
  const auto mended = made_valid(bow);
  CHECK_FALSE(find_fault(mended));
  CHECK(mended.parts.size() == 2);
  CHECK(area(mended) == Approx(50));
  CHECK(area(made_valid(square(0, 0, 10))) == Approx(100));
}

TEST_CASE("each way of being invalid has its own word and place") {
  using Kind = OutlineFault::Kind;
  auto hole_outside = square(0, 0, 10);
  hole_outside.parts[0].holes.push_back(square(20, 20, 5).parts[0].outer);
  REQUIRE(find_fault(hole_outside));
  CHECK(find_fault(hole_outside)->kind == Kind::hole_outside);
  auto nested = square(0, 0, 10);
  nested.parts.push_back(square(2, 2, 5).parts[0]);
  REQUIRE(find_fault(nested));
  CHECK(find_fault(nested)->kind == Kind::parts_overlap);
  const auto kind_of = [](std::vector<ImagePoint> ring) { return find_fault(ImageOutline{{{std::move(ring), {}}}}).value().kind; };
  CHECK(kind_of({{0, 0}, {10, 0}}) == Kind::too_few_points);
  CHECK(kind_of({{0, 0}, {10, 0}, {20, 0}}) == Kind::no_area);
  CHECK(kind_of({{0, 0}, {10, NAN}, {20, 0}}) == Kind::not_finite);
  CHECK(find_fault(ImageOutline{}).value().kind == Kind::empty);
}

TEST_CASE("lines go out as WKT and come in again, several at once too, and what is no line is refused") {
  const auto lines = lines_from_wkt("MULTILINESTRING ((0 0, 1 1), (2 2, 3 3.5, 4 4))");
  REQUIRE(lines.size() == 2);
  CHECK(lines[1][1] == ImagePoint{3, 3.5});
  CHECK(lines_from_wkt(line_to_wkt(lines[1], 2)).at(0) == lines[1]);
  for (const char* wrong : {"POLYGON ((0 0, 1 0, 1 1, 0 0))", "LINESTRING EMPTY", "GEOMETRYCOLLECTION EMPTY", "words"}) {
    INFO(wrong);
    CHECK_THROWS_AS(lines_from_wkt(wrong), std::invalid_argument);
  }
  CHECK_THROWS_AS(outline_from_wkt<ImagePoint>("LINESTRING (0 0, 1 1)"), std::invalid_argument);
  CHECK_THROWS_AS(outline_from_wkt<ImagePoint>("POLYGON EMPTY"), std::invalid_argument);
  CHECK(to_wkt(ImageOutline{}) == "POLYGON EMPTY");
}

TEST_CASE("a plane map's derivatives are those of its central differences, and its inverse undoes it") {
  Eigen::Matrix3d h;
  h << 0.1, 0.02, 3, -0.01, 0.12, -4, 2e-5, -3e-5, 1;
  const Homography<ImagePoint, PlanePoint> map(h);
  const ImagePoint p{1200, 800};
  const auto j = map.jacobian(p);
  constexpr double d = 1e-3;
  const auto right = map({p.x + d, p.y}), left = map({p.x - d, p.y}), down = map({p.x, p.y + d}), up = map({p.x, p.y - d});
  CHECK(j(0, 0) == Approx((right.x - left.x) / (2 * d)).epsilon(1e-6));
  CHECK(j(1, 0) == Approx((right.y - left.y) / (2 * d)).epsilon(1e-6));
  CHECK(j(0, 1) == Approx((down.x - up.x) / (2 * d)).epsilon(1e-6));
  CHECK(j(1, 1) == Approx((down.y - up.y) / (2 * d)).epsilon(1e-6));
  const auto back = map.inverse()(map(p));
  CHECK(back.x == Approx(p.x));
  CHECK(back.y == Approx(p.y));
}
