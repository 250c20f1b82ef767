// What each tool does to a margin: gestures in, effects out, without a photo.
#include "uroko/app/tools.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "uroko/app/outline_edit.h"

using namespace uroko;
using namespace uroko::app;

namespace {

constexpr double kTurn = 2 * std::numbers::pi;

/// A circle of that radius in photo pixels about (100, 100).
ImageOutline circle(double r = 50, int n = 120) {
  ImageOutline o;
  o.parts.emplace_back();
  for (int i = 0; i < n; ++i) o.parts[0].outer.push_back({100 + r * std::cos(kTurn * i / n), 100 + r * std::sin(kTurn * i / n)});
  return o;
}

Pointer at(double x, double y, bool shift = false, bool ctrl = false) { return {{x, y}, 1, shift, ctrl, false}; }

/// Down at the first point, through the others, up at the last.
std::optional<Effect> gesture(Tool& tool, const ImageOutline& o, const std::vector<Pointer>& path) {
  auto e = tool.press(path.front(), o);
  if (e) return e;
  for (std::size_t i = 1; i < path.size(); ++i) tool.drag(path[i], o);
  return tool.release(path.back(), o);
}
std::optional<Effect> click(Tool& tool, const ImageOutline& o, const Pointer& p) { return gesture(tool, o, {p}); }

std::size_t moved(const ImageOutline& a, const ImageOutline& b) {
  REQUIRE(a.parts[0].outer.size() == b.parts[0].outer.size());
  std::size_t n = 0;
  for (std::size_t i = 0; i < a.parts[0].outer.size(); ++i) n += !(a.parts[0].outer[i] == b.parts[0].outer[i]);
  return n;
}

double farthest(const ImageOutline& o, ImagePoint from = {100, 100}) {
  double most = 0;
  for (const auto& p : o.parts[0].outer) most = std::max(most, distance(p, from));
  return most;
}

}  // namespace

TEST_CASE("dragging the margin takes the stretch near the pointer along, with Ctrl one point alone, and what is shown meanwhile is what is committed") {
  const auto tool = make_tool(ToolId::points);
  const auto o = circle();
  SECTION("softly") {
    tool->press(at(151, 100), o);
    tool->drag(at(171, 100), o);
    REQUIRE(tool->preview());
    const auto shown = *tool->preview();
    CHECK(tool->busy());
    REQUIRE(tool->selected());
    CHECK(tool->selected()->x == Approx(170));
    const auto e = tool->release(at(171, 100), o);
    REQUIRE(e);
    CHECK(e->kind == Effect::Kind::commit);
    CHECK(e->label == "move the margin");
    CHECK(e->outline == shown);
    CHECK_FALSE(tool->preview());
    const auto n = moved(o, e->outline);
    CHECK(n > 10);
    CHECK(n < 60);  // the far side stays
    CHECK(area(e->outline) > area(o));
  }
  SECTION("one point alone") {
    const auto e = gesture(*tool, o, {at(150, 100), at(160, 100, false, true)});
    REQUIRE(e);
    CHECK(moved(o, e->outline) == 1);
  }
  SECTION("between two points of a coarse margin: a point is made where it was taken") {
    const auto square = circle(50, 4);  // corners at 0, 90, 180, 270 degrees
    const auto e = gesture(*tool, square, {at(126, 126), at(136, 136, false, true)});
    REQUIRE(e);
    CHECK(e->outline.parts[0].outer.size() == 5);
    CHECK(farthest(e->outline) > 45);
  }
  SECTION("a click that does not move, or beside the margin, changes nothing") {
    CHECK_FALSE(click(*tool, o, at(150, 100)));
    CHECK_FALSE(gesture(*tool, o, {at(150, 100), at(151, 100)}));
    CHECK_FALSE(gesture(*tool, o, {at(100, 100), at(130, 100)}));
    CHECK_FALSE(tool->selected());
  }
  SECTION("Escape gives the drag up") {
    tool->press(at(150, 100), o);
    tool->drag(at(180, 100), o);
    CHECK(tool->cancel());
    CHECK_FALSE(tool->preview());
    CHECK_FALSE(tool->release(at(180, 100), o));
    CHECK_FALSE(tool->cancel());
  }
}

TEST_CASE("points are taken away, put in and nudged one at a time") {
  const auto tool = make_tool(ToolId::points);
  const auto o = circle();
  SECTION("Shift-click takes one away") {
    const auto e = click(*tool, o, at(150, 100, true));
    REQUIRE(e);
    CHECK(e->label == "take a point away");
    CHECK(e->outline.parts[0].outer.size() == 119);
    CHECK_FALSE(tool->busy());
    CHECK_FALSE(click(*tool, circle(50, 4), at(126, 126, true)));  // on the line, but no point there
    CHECK_FALSE(click(*tool, circle(50, 3), at(150, 100, true)));  // the last three stay
  }
  SECTION("Delete takes the one that was touched last, and nothing twice") {
    CHECK_FALSE(tool->remove(o));
    click(*tool, o, at(150, 100));
    const auto e = tool->remove(o);
    REQUIRE(e);
    CHECK(e->outline.parts[0].outer.size() == 119);
    CHECK_FALSE(tool->remove(e->outline));
  }
  SECTION("arrows nudge it, and the next one starts from there") {
    CHECK_FALSE(tool->nudge(1, 0, o));
    click(*tool, o, at(150, 100));
    const auto first = tool->nudge(1, 0, o);
    REQUIRE(first);
    const auto second = tool->nudge(0, -10, first->outline);
    REQUIRE(second);
    CHECK(second->label == "nudge a point");
    CHECK(moved(o, second->outline) == 1);
    CHECK(second->outline.parts[0].outer[0].x == Approx(151));
    CHECK(second->outline.parts[0].outer[0].y == Approx(90));
    CHECK_FALSE(tool->nudge(1, 0, circle(20)));  // that point has gone
    CHECK(tool->cancel() == false);
    CHECK_FALSE(tool->nudge(1, 0, second->outline));  // Escape let it go
  }
  SECTION("a double click on the line puts one in without moving the line") {
    const auto square = circle(50, 4);
    const auto e = tool->double_click(at(127, 125), square);
    REQUIRE(e);
    CHECK(e->label == "insert a point");
    CHECK(e->outline.parts[0].outer.size() == 5);
    CHECK(area(e->outline) == Approx(area(square)));
    CHECK_FALSE(tool->double_click(at(100, 100), square));
  }
}

TEST_CASE("the brush pushes the margin it meets and leaves the rest, however fast it is drawn") {
  const auto tool = make_tool(ToolId::push);
  const auto o = circle();
  CHECK(tool->brush_px() > 0);
  SECTION("outward from within") {
    tool->press(at(130, 100), o);
    tool->drag(at(160, 100), o);
    REQUIRE(tool->preview());
    CHECK(tool->busy());
    const auto e = tool->release(at(160, 100), o);
    REQUIRE(e);
    CHECK(e->label == "push the margin");
    CHECK(area(e->outline) > area(o) + 100);
    CHECK(farthest(e->outline) > 55);
    CHECK(contains(e->outline, ImagePoint{55, 100}));  // the far side
    CHECK_FALSE(contains(e->outline, ImagePoint{45, 100}));
    CHECK_FALSE(find_fault(e->outline));
  }
  SECTION("one jump or many small steps come to the same") {
    const auto jump = gesture(*tool, o, {at(110, 100), at(170, 100)});
    std::vector<Pointer> path;
    for (int x = 110; x <= 170; ++x) path.push_back(at(x, 100));
    const auto steps = gesture(*tool, o, path);
    REQUIRE(jump);
    REQUIRE(steps);
    CHECK(dice(jump->outline, steps->outline) > 0.97);
  }
  SECTION("a brush that meets nothing, no margin, and Escape") {
    CHECK_FALSE(gesture(*tool, o, {at(300, 300), at(330, 300)}));
    CHECK_FALSE(gesture(*tool, {}, {at(100, 100), at(130, 100)}));
    tool->press(at(130, 100), o);
    tool->drag(at(160, 100), o);
    CHECK(tool->cancel());
    CHECK_FALSE(tool->preview());
    CHECK_FALSE(tool->release(at(160, 100), o));
  }
}

TEST_CASE("a stretch is redrawn from the margin to the margin, and a stroke that does not reach it is not taken") {
  const auto tool = make_tool(ToolId::redraw);
  const auto o = circle();
  std::vector<Pointer> bulge;
  for (int a = -40; a <= 40; a += 4) bulge.push_back(at(100 + 65 * std::cos(a * kTurn / 360), 100 + 65 * std::sin(a * kTurn / 360)));
  SECTION("taken") {
    tool->press(bulge.front(), o);
    for (const auto& p : bulge) tool->drag(p, o);
    REQUIRE(tool->line());
    CHECK(tool->line()->size() > 10);
    CHECK(tool->busy());
    const auto e = tool->release(bulge.back(), o);
    REQUIRE(e);
    CHECK(e->label == "redraw a stretch");
    CHECK(contains(e->outline, ImagePoint{163, 100}));
    CHECK(contains(e->outline, ImagePoint{55, 100}));
    CHECK_FALSE(find_fault(e->outline));
    CHECK_FALSE(tool->busy());
  }
  SECTION("a stroke that crosses itself still gives a margin without a fault") {
    const auto e = gesture(*tool, o, {at(145, 80), at(170, 120), at(190, 100), at(170, 80), at(145, 120)});
    REQUIRE(e);
    CHECK_FALSE(find_fault(e->outline));
    CHECK(area(e->outline) > 0.9 * area(o));
  }
  SECTION("not taken") {
    CHECK_FALSE(gesture(*tool, o, {at(150, 100), at(200, 100), at(300, 100)}));
    CHECK_FALSE(gesture(*tool, {}, {at(150, 100), at(200, 100)}));
    CHECK_FALSE(click(*tool, o, at(150, 100)));
    tool->press(bulge.front(), o);
    tool->drag(bulge[5], o);
    CHECK(tool->cancel());
    CHECK_FALSE(tool->cancel());
    CHECK_FALSE(tool->release(bulge.back(), o));
  }
}

TEST_CASE("an island is cut by a drawn or a clicked loop, and one beside the wound, round the whole of it, or without a wound cuts nothing") {
  const auto tool = make_tool(ToolId::hole);
  const auto o = circle();
  const auto square = [&](double x, double y, double half) { return std::vector<Pointer>{at(x - half, y - half), at(x + half, y - half), at(x + half, y + half), at(x - half, y + half)}; };
  const auto clicked = [&](const std::vector<Pointer>& corners, const ImageOutline& present) {
    for (const auto& p : corners) CHECK_FALSE(click(*tool, present, p));
  };
  SECTION("clicked and closed by Enter") {
    clicked(square(100, 100, 10), o);
    CHECK(tool->busy());
    const auto e = tool->accept(o);
    REQUIRE(e);
    CHECK(e->kind == Effect::Kind::commit);
    CHECK(e->label == "cut an island");
    CHECK(area(o) - area(e->outline) == Approx(400));
    CHECK(e->outline.parts[0].holes.size() == 1);
  }
  SECTION("clicked and closed by a double click") {
    clicked(square(100, 100, 10), o);
    const auto e = tool->double_click(at(90, 110), o);
    REQUIRE(e);
    CHECK(area(o) - area(e->outline) == Approx(400));
    CHECK_FALSE(tool->double_click(at(100, 100), o));  // not from a point, as the loop does
  }
  SECTION("over the edge: the wound gives way there") {
    clicked(square(150, 100, 10), o);
    const auto e = tool->accept(o);
    REQUIRE(e);
    CHECK(e->outline.parts[0].holes.empty());
    CHECK_FALSE(contains(e->outline, ImagePoint{148, 100}));
  }
  SECTION("beside the wound") {
    clicked(square(300, 300, 10), o);
    CHECK_FALSE(tool->accept(o));
  }
  SECTION("round the whole wound") {
    clicked(square(100, 100, 80), o);
    CHECK_FALSE(tool->accept(o));
  }
  SECTION("without a wound") {
    clicked(square(100, 100, 10), {});
    CHECK_FALSE(tool->accept({}));
  }
}

TEST_CASE("a loop that is clicked can be closed by Enter or given up, and a second part asks for one") {
  SECTION("closed by Enter from the third point on") {
    const auto tool = make_tool(ToolId::part);
    click(*tool, {}, at(0, 0));
    click(*tool, {}, at(50, 0));
    CHECK_FALSE(tool->accept({}));
    click(*tool, {}, at(50, 50));
    REQUIRE(tool->line());
    CHECK(tool->line()->size() == 3);
    const auto e = tool->accept({});
    REQUIRE(e);
    CHECK(e->kind == Effect::Kind::find_part);
    CHECK(e->outline.parts[0].outer.size() == 3);
    CHECK_FALSE(tool->busy());
  }
  SECTION("closed by a double click") {
    const auto tool = make_tool(ToolId::loop);
    for (const auto& p : {at(0, 0), at(50, 0), at(50, 50)}) click(*tool, {}, p);
    const auto e = tool->double_click(at(50, 50), {});
    REQUIRE(e);
    CHECK(e->kind == Effect::Kind::find_loop);
  }
  SECTION("given up") {
    const auto tool = make_tool(ToolId::loop);
    CHECK_FALSE(tool->cancel());
    click(*tool, {}, at(0, 0));
    click(*tool, {}, at(50, 0));
    CHECK(tool->cancel());
    CHECK(tool->line()->empty());
    CHECK_FALSE(tool->release(at(50, 50), {}));
    click(*tool, {}, at(50, 50));
    CHECK(tool->line()->size() == 1);  // a new one
  }
}

TEST_CASE("a correction stroke says which side it keeps, and Escape gives it up") {
  for (const auto& [id, inside] : {std::pair{ToolId::inside, true}, std::pair{ToolId::outside, false}}) {
    const auto tool = make_tool(id);
    const auto e = gesture(*tool, {}, {at(0, 0), at(10, 0), at(11, 0), at(20, 0)});
    REQUIRE(e);
    CHECK(e->kind == Effect::Kind::refine);
    CHECK(e->inside == inside);
    CHECK(e->line == std::vector<ImagePoint>{{0, 0}, {10, 0}, {20, 0}});  // a line, not every tremor
    tool->press(at(0, 0), {});
    tool->drag(at(10, 0), {});
    CHECK(tool->busy());
    CHECK(tool->cancel());
    CHECK_FALSE(tool->release(at(10, 0), {}));
  }
}

TEST_CASE("picks are dragged into place before the button is let go, start anew after the last one, and are forgotten by Escape") {
  const auto ruler = make_tool(ToolId::ruler);
  CHECK_FALSE(ruler->cancel());
  CHECK_FALSE(click(*ruler, {}, at(10, 10)));
  CHECK(ruler->busy());
  const auto e = gesture(*ruler, {}, {at(50, 10), at(60, 12)});
  REQUIRE(e);
  CHECK(e->kind == Effect::Kind::picks);
  CHECK(e->line == std::vector<ImagePoint>{{10, 10}, {60, 12}});
  CHECK_FALSE(ruler->busy());
  CHECK_FALSE(click(*ruler, {}, at(1, 1)));
  CHECK(ruler->line()->size() == 1);
  CHECK(ruler->cancel());
  CHECK(ruler->line()->empty());
  const auto grey = make_tool(ToolId::grey);
  const auto one = click(*grey, {}, at(7, 8));
  REQUIRE(one);
  CHECK(one->kind == Effect::Kind::grey);
  CHECK(one->line == std::vector<ImagePoint>{{7, 8}});
  CHECK_FALSE(click(*make_tool(ToolId::board), {}, at(7, 8)));
  for (const auto& [id, picks] : {std::pair{ToolId::ruler, 2}, std::pair{ToolId::midline, 2}, std::pair{ToolId::rectangle, 4}, std::pair{ToolId::disc, 1}, std::pair{ToolId::grey, 1}, std::pair{ToolId::loop, 0}})
    CHECK(picks_of(id) == static_cast<std::size_t>(picks));
}
