#include "uroko/margin/edits.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <opencv2/imgproc.hpp>

using namespace uroko;
using namespace uroko::margin;

namespace {
ImageOutline box(double x, double y, double w, double h) { return {{{{{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}}, {}}}}; }
ImageOutline wavy(int n, double r, double wave) {
  Ring<ImagePoint> ring;
  for (int i = 0; i < n; ++i) {
    const double t = 2 * M_PI * i / n, q = r + wave * std::cos(40 * t);
    ring.push_back({200 + q * std::cos(t), 200 + q * std::sin(t)});
  }
  return {{{ring, {}}}};
}
}  // namespace

TEST_CASE("a vertex is inserted, moved and deleted without changing what came in") {
  const auto start = box(10, 10, 100, 60);
  const auto more = insert_vertex(start, {60, 5});
  REQUIRE(more);
  CHECK(area(*more) == Approx(6000 + 0.5 * 100 * 5));
  CHECK(start == box(10, 10, 100, 60));
  const auto ref = nearest_vertex(*more, {61, 5}, 3);
  REQUIRE(ref);
  CHECK_FALSE(nearest_vertex(*more, {61, 5}, 0.5));
  const auto moved = move_vertex(*more, *ref, {60, 0});
  REQUIRE(moved);
  CHECK(area(*moved) == Approx(6000 + 0.5 * 100 * 10));
  const auto back = delete_vertex(*moved, *ref);
  REQUIRE(back);
  CHECK(*back == start);
  const ImageOutline triangle{{{{{0, 0}, {10, 0}, {0, 10}}, {}}}};
  CHECK(delete_vertex(triangle, {0, 0, 1}).refusal().code == "ring-points");
  CHECK(move_vertex(triangle, {3, 0, 0}, {1, 1}).refusal().code == "no-vertex");
}

TEST_CASE("a move that makes the outline cross itself is refused with the place") {
  const auto crossed = move_vertex(box(10, 10, 100, 60), {0, 0, 0}, {200, 40});
  REQUIRE_FALSE(crossed);
  CHECK(crossed.refusal().code == "outline-invalid");
  CHECK(crossed.refusal().text.find("near") != std::string::npos);
}

TEST_CASE("a redrawn stretch replaces the way that runs closer to the line, whichever way it is drawn") {
  const auto start = box(0, 0, 100, 100);
  const std::vector<ImagePoint> line{{20, 0}, {50, -20}, {80, 0}}, reversed{{80, 0}, {50, -20}, {20, 0}};
  for (const auto& l : {line, reversed}) {
    const auto out = redraw(start, l);
    REQUIRE(out);
    CHECK(area(*out) == Approx(10000 + 0.5 * 60 * 20));
  }
  // Over the first vertex.
  const auto corner = redraw(start, {{0, 20}, {20, 0}});
  REQUIRE(corner);
  CHECK(area(*corner) == Approx(10000 - 200));
}

TEST_CASE("a push moves the near stretch and nothing beyond the brush") {
  const auto out = push(box(0, 0, 200, 200), {100, 0}, {100, -10}, 30);
  REQUIRE(out);
  double top = 0;
  for (const auto& p : out->parts[0].outer) {
    top = std::min(top, p.y);
    if (std::abs(p.x - 100) > 30) CHECK(p.y >= 0);
  }
  CHECK(top == Approx(-10));
  // Integral of the cosine fall-off over the brush: 10 x 30.
  CHECK(area(*out) == Approx(40000 + 300).margin(6));
}

TEST_CASE("a split keeps the whole area in two parts and a join makes one again") {
  const auto start = box(0, 0, 100, 50);
  const auto halves = split(start, {{30, -5}, {35, 25}, {30, 60}});
  REQUIRE(halves);
  REQUIRE(halves->parts.size() == 2);
  CHECK(area(*halves) == Approx(5000).epsilon(1e-4));
  CHECK_FALSE(find_fault(*halves));
  CHECK(split(start, {{200, 0}, {200, 60}}).refusal().code == "split-crossings");
  CHECK(split(start, {{30, -5}, {30, 25}}).refusal().code == "split-crossings");
  auto apart = add_part(start, {{150, 0}, {200, 0}, {200, 50}, {150, 50}});
  REQUIRE(apart);
  CHECK(apart->parts.size() == 2);
  const auto joined = join(*apart, {{90, 25}, {160, 25}}, 10);
  REQUIRE(joined);
  CHECK(joined->parts.size() == 1);
  CHECK(area(*joined) == Approx(7500 + 500));
  CHECK(join(*apart, {{10, 10}, {20, 20}}, 10).refusal().code == "join-parts");
  const auto one = remove_part(*apart, {175, 25});
  REQUIRE(one);
  CHECK(area(*one) == Approx(5000));
  CHECK(remove_part(*one, {10, 10}).refusal().code == "no-part");
}

TEST_CASE("a hole is cut and filled, one outside the wound is refused") {
  const auto start = box(0, 0, 100, 100);
  const auto holed = cut_hole(start, {{40, 40}, {60, 40}, {60, 60}, {40, 60}});
  REQUIRE(holed);
  CHECK(area(*holed) == Approx(9600));
  CHECK(holed->parts[0].holes.size() == 1);
  const auto filled = fill_hole(*holed, {50, 50});
  REQUIRE(filled);
  CHECK(area(*filled) == Approx(10000));
  CHECK(fill_hole(*holed, {10, 10}).refusal().code == "no-hole");
  CHECK(cut_hole(start, {{200, 200}, {210, 200}, {205, 210}}).refusal().code == "hole-outside");
}

TEST_CASE("simplifying keeps every old vertex within the tolerance, in pixels and in millimetres") {
  const auto start = wavy(720, 100, 1.0);
  const auto fewer = simplified(start, 0.5);
  REQUIRE(fewer);
  CHECK(fewer->parts[0].outer.size() < 360);
  for (const auto& p : start.parts[0].outer) CHECK(nearest_edge(*fewer, p, 0.5 + 1e-9));
  const auto metric = simplified_mm(start, 0.05, [](const ImagePoint&) { return 0.1; });
  REQUIRE(metric);
  CHECK(*metric == *fewer);
  CHECK(simplified(start, 0).refusal().code == "amount");
}

TEST_CASE("smoothing takes the ripple away and not the area") {
  const auto start = wavy(2000, 60, 1.0);
  const auto calm = smoothed(start, 6);
  REQUIRE(calm);
  CHECK(area(*calm) == Approx(area(start)).epsilon(1e-6));
  double low = 1e9, high = 0;
  for (const auto& p : calm->parts[0].outer) {
    const double r = std::hypot(p.x - 200, p.y - 200);
    low = std::min(low, r), high = std::max(high, r);
  }
  CHECK(high - low < 0.3);
}

TEST_CASE("a small loop where a ring crosses itself is repaired, a figure of eight is refused") {
  // A loop of half a pixel at a corner.
  const ImageOutline nick{{{{{0, 0}, {100, 0}, {100, 100}, {0, 100}, {0, 1}, {0.5, 0.4}, {-0.5, 0.4}, {0, 0.8}}, {}}}};
  REQUIRE(find_fault(nick));
  const auto fixed = repaired(nick);
  REQUIRE(fixed);
  CHECK_FALSE(find_fault(*fixed));
  CHECK(area(*fixed) == Approx(10000).epsilon(0.001));
  const ImageOutline eight{{{{{0, 0}, {100, 100}, {100, 0}, {0, 100}}, {}}}};
  CHECK(repaired(eight).refusal().code == "outline-invalid");
}

TEST_CASE("an edited margin keeps the doubt of the vertices that stay") {
  Margin margin;
  margin.outline = box(0, 0, 100, 100);
  margin.doubt_px = {1, 2, 3, 4};
  const auto out = with_outline(margin, *insert_vertex(margin.outline, {95, 0}));
  CHECK(out.doubt_px == std::vector<double>{1, 2, 2, 3, 4});
}

TEST_CASE("a live edge follows a bright rim round a corner instead of cutting across") {
  cv::Mat bgr(300, 300, CV_8UC3, cv::Scalar(60, 60, 60));
  cv::rectangle(bgr, {50, 50, 200, 200}, cv::Scalar(80, 80, 220), -1);
  const LiveEdge live(bgr, {150, 50}, 200);
  const auto path = live.path_to({250, 150});
  REQUIRE(path.size() > 3);
  CHECK(path.front() == ImagePoint{150, 50});
  CHECK(path.back() == ImagePoint{250, 150});
  double worst = 0;
  for (const auto& p : path) worst = std::max(worst, std::min(std::abs(p.y - 50), std::abs(p.x - 250)));
  CHECK(worst < 3);
  CHECK(LiveEdge({}, {1, 1}, 50).path_to({5, 5}).size() == 2);
}
