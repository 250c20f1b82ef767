#include "uroko/report/scene.h"

#include <catch2/catch.hpp>
#include <cmath>

#include "uroko/geometry/polygon.h"

using namespace uroko;
using namespace uroko::report;

namespace {
double length(const HatchStrokes& s) {
  double sum = 0;
  for (const auto& [a, b] : s.strokes) sum += std::hypot(a.x - b.x, a.y - b.y);
  return sum;
}
const std::vector<Point> kL{{0, 0}, {60, 0}, {60, 20}, {20, 20}, {20, 60}, {0, 60}};  // area 2000
}  // namespace

TEST_CASE("hatch strokes stay inside the polygon and cover area over spacing") {
  // Strokes s apart cover an area A with A / s of length, up to the end effects.
  const Fill fill{kL, {}, Hatch::diagonal};
  const auto strokes = hatch_strokes(fill, 1);
  CHECK(length(strokes) == Approx(2000).epsilon(0.02));
  Outline<ImagePoint> outline{{{{}, {}}}};
  for (const auto& p : kL) outline.parts[0].outer.push_back({p.x, p.y});
  for (const auto& [a, b] : strokes.strokes) REQUIRE(contains(outline, ImagePoint{(a.x + b.x) / 2, (a.y + b.y) / 2}));
  CHECK(length(hatch_strokes({kL, {}, Hatch::cross}, 1)) == Approx(4000).epsilon(0.02));
}

TEST_CASE("hatch dots stand inside the polygon, one to a cell") {
  const auto dots = hatch_strokes({kL, {}, Hatch::dots}, 2).dots;
  CHECK(static_cast<double>(dots.size()) == Approx(2000 / (2 * 1.5)).epsilon(0.06));
}

TEST_CASE("placing a scene scales points, widths and letters together") {
  Scene part{10, 10, {PolyLine{{{1, 2}, {3, 4}}, {}, 2}, Label{{5, 6}, "a", 8, {}}, Disc{{1, 1}, 2, {}, {}, 1}}};
  Scene page{100, 100, {}};
  place(page, part, {10, 20}, 0.5);
  const auto& line = std::get<PolyLine>(page.items.at(0));
  CHECK(line.points[1].x == Approx(11.5));
  CHECK(line.points[1].y == Approx(22));
  CHECK(line.width == Approx(1));
  CHECK(std::get<Label>(page.items.at(1)).size == Approx(4));
  CHECK(std::get<Disc>(page.items.at(2)).radius == Approx(1));
}
