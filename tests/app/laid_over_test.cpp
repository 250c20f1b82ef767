// The last visit's outline under today's: for the eye, so within a turn of 15 degrees.
#include "app/laid_over.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

using namespace uroko;

namespace {

/// An ellipse with a bulge to one side, so that only one turn fits.
PlaneOutline pear(double size, int vertices) {
  PlaneOutline out{{{}}};
  for (int i = 0; i < vertices; ++i) {
    const double t = 2 * std::numbers::pi * i / vertices, r = size * (1 + 0.4 * std::cos(t) + 0.15 * std::cos(2 * t));
    out.parts[0].outer.push_back({1.6 * r * std::cos(t), r * std::sin(t)});
  }
  return out;
}

PlaneOutline moved(const PlaneOutline& outline, double degrees, double dx, double dy) {
  const double a = degrees * std::numbers::pi / 180;
  return mapped<PlanePoint, PlanePoint>(outline, [&](const PlanePoint& p) { return PlanePoint{std::cos(a) * p.x - std::sin(a) * p.y + dx, std::sin(a) * p.x + std::cos(a) * p.y + dy}; });
}

}  // namespace

TEST_CASE("an outline is laid over another in the turn that fits") {
  for (const int vertices : {24, 2000})
    for (const double degrees : {0.0, 30.0, -75.0, 135.0, 180.0}) {
      CAPTURE(vertices, degrees);
      const auto today = pear(10, vertices), last = moved(pear(12, vertices), degrees, 140, -35);
      const auto out = app::laid_over(last, today);
      CHECK(distance(centroid(out), centroid(today)) < 0.01);
      // One with the other, they overlap as far as their sizes let them: 2 x 100 / (100 + 144).
      CHECK(dice(out, today) > 0.99 * 2 * 100 / 244.0);
    }
}

TEST_CASE("an outline is not turned without a reason") {
  PlaneOutline round{{{}}};
  for (int i = 0; i < 90; ++i) round.parts[0].outer.push_back({20 + 8 * std::cos(i * std::numbers::pi / 45), 5 + 8 * std::sin(i * std::numbers::pi / 45)});
  const auto under = moved(round, 40, 3, 60);
  const auto out = app::laid_over(round, under);
  const auto to = centroid(under);
  CHECK(std::abs(out.parts[0].outer[0].x - (to.x + 8)) < 0.01);
  CHECK(std::abs(out.parts[0].outer[0].y - to.y) < 0.01);
}
