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
