#include <atomic>
#include <catch2/catch.hpp>
#include <cmath>
#include <fstream>
#include <numbers>
#include <set>

#include "app/typed.h"
#include "support/temp_folder.h"
#include "uroko/app/outline_edit.h"
#include "uroko/app/session.h"
#include "uroko/base/file.h"

using namespace uroko;
using namespace uroko::app;
using uroko::testing::TempFolder;

namespace {

ImageOutline circle(double r, int n, ImagePoint c = {100, 100}) {
  ImageOutline o;
  o.parts.emplace_back();
  for (int i = 0; i < n; ++i) o.parts[0].outer.push_back({c.x + r * std::cos(2 * std::numbers::pi * i / n), c.y + r * std::sin(2 * std::numbers::pi * i / n)});
  return o;
}

Pointer at(double x, double y) { return {{x, y}, 1, false, false, false}; }

}  // namespace

TEST_CASE("every command has a label, a tip and a key, and no key means two things on one screen") {
  std::set<std::string> ids;
  std::map<std::string, std::string> keys;
  for (const auto& c : commands()) {
    INFO(c.id);
    CHECK(ids.insert(c.id).second);
    CHECK_FALSE(c.label.empty());
    CHECK_FALSE(c.tip.empty());
    CHECK_FALSE(c.keys.empty());
    CHECK(c.run);
    for (const auto& key : c.keys) {
      INFO(key << " is also " << keys[key]);
      CHECK(keys[key].empty());
      keys[key] = c.id;
    }
  }
  CHECK(ids.size() > 50);
}

TEST_CASE("every tool is a command with its own key and hint") {
  for (int i = 0; i < kTools; ++i) {
    const auto id = static_cast<ToolId>(i);
    const auto tool = make_tool(id);
    REQUIRE(tool);
    CHECK(tool->id() == id);
    const auto* c = command(std::string("tool.") + about(id).name);
    REQUIRE(c);
    CHECK(c->keys.front() == about(id).key);
    CHECK(std::string(about(id).hint).size() > 20);
  }
}

TEST_CASE("every command that needs something is refused without it and harmless where it is allowed") {
  TempFolder folder;
  Session s(Places{folder / "s.json", folder / "u.json"});
  for (const auto& c : commands()) {
    if (c.id == "window.quit" || (c.enabled && !c.enabled(s))) continue;
    INFO(c.id);
    CHECK_NOTHROW(c.run(s));
  }
  CHECK_FALSE(s.run("view.fit"));
  CHECK_FALSE(s.run("there.is.no.such"));
}

TEST_CASE("a command is found by the words of its label, best first") {
  CHECK(matching_commands("undo").front()->id == "edit.undo");
  CHECK(matching_commands("care").front()->id == "care.log");
  CHECK(matching_commands("xyzzy").empty());
  CHECK(matching_commands("").size() == commands().size());
}

TEST_CASE("the photo's point under the pointer stays there when zooming, whatever the turn") {
  for (const double turn : {0.0, 15.0, 90.0, -133.0}) {
    View v;
    v.fit(4000, 3000);
    v.turn(turn);
    const ScreenPoint p{123, 456};
    const auto before = v.to_photo(p);
    v.zoom_about(p, 3.7);
    const auto after = v.to_photo(p);
    CHECK(after.x == Approx(before.x).margin(1e-9));
    CHECK(after.y == Approx(before.y).margin(1e-9));
    const auto back = v.to_screen(before);
    CHECK(back.x == Approx(p.x).margin(1e-9));
    CHECK(back.y == Approx(p.y).margin(1e-9));
  }
}

TEST_CASE("fit shows the whole photo, pixel centres at integers") {
  View v;
  v.width = 800;
  v.height = 600;
  v.fit(4000, 2000);
  CHECK(v.to_screen({-0.5, 0}).x == Approx(0).margin(1e-9));
  CHECK(v.to_screen({3999.5, 0}).x == Approx(800).margin(1e-9));
}

TEST_CASE("history keeps labels, drops what was redone over, and restores") {
  History<int> h(1, 4);
  CHECK_FALSE(h.can_undo());
  h.commit("two", 2);
  h.commit("three", 3);
  CHECK(h.undo_label() == "three");
  CHECK(h.undo());
  CHECK(h.now() == 2);
  CHECK(h.redo_label() == "three");
  h.commit("four", 4);
  CHECK_FALSE(h.can_redo());
  for (int i = 5; i < 9; ++i) h.commit("n", i);
  CHECK(h.steps().size() == 4);
  CHECK(h.now() == 8);
}

TEST_CASE("a soft move takes the neighbours along and leaves the far side alone") {
  auto o = circle(50, 100);
  const auto before = o.parts[0].outer;
  move_soft(o.parts[0].outer, 0, 10, 0, 20);
  CHECK(o.parts[0].outer[0].x == Approx(before[0].x + 10));
  CHECK(o.parts[0].outer[1].x > before[1].x);
  CHECK(o.parts[0].outer[1].x < before[1].x + 10);
  CHECK(o.parts[0].outer[50] == before[50]);
}

TEST_CASE("redrawing a stretch replaces the nearer side only") {
  // A half circle of radius 50 bulged to 60 between -45 and +45 degrees: the sector's area grows by (60^2 - 50^2) * (pi/2) / 2 less the chords' slivers.
  const auto o = circle(50, 360);
  std::vector<ImagePoint> stroke;
  for (int a = -45; a <= 45; ++a) stroke.push_back({100 + 60 * std::cos(a * std::numbers::pi / 180), 100 + 60 * std::sin(a * std::numbers::pi / 180)});
  const auto out = redrawn(o, stroke);
  REQUIRE(out);
  CHECK_FALSE(find_fault(*out));
  const double grown = (60 * 60 - 50 * 50) * std::numbers::pi / 4;
  CHECK(area(*out) - area(o) == Approx(grown).epsilon(0.03));
  CHECK(contains(*out, ImagePoint{155, 100}));
  CHECK(contains(*out, ImagePoint{55, 100}));
}

TEST_CASE("a vertex goes and comes, and the last three stay") {
  auto o = circle(50, 4);
  CHECK(delete_vertex(o, 0, 0, 0));
  CHECK_FALSE(delete_vertex(o, 0, 0, 0));
  CHECK(o.parts[0].outer.size() == 3);
  const auto near = nearest_on(o, {100, 120});
  REQUIRE(near);
  insert_vertex(o, *near, 0.5);
  CHECK(o.parts[0].outer.size() == 4);
}

TEST_CASE("a freehand loop asks for a margin, a click by click loop closes at its start, a double click asks from a point") {
  auto tool = make_tool(ToolId::loop);
  const ImageOutline none;
  tool->press(at(0, 0), none);
  for (int i = 1; i < 40; ++i) tool->drag(at(50 * std::sin(i * 0.16), 50 - 50 * std::cos(i * 0.16)), none);
  const auto free = tool->release(at(0, 0), none);
  REQUIRE(free);
  CHECK(free->kind == Effect::Kind::find_loop);
  CHECK(free->outline.parts[0].outer.size() > 20);

  std::optional<Effect> clicked;
  for (const auto& p : {at(0, 0), at(100, 0), at(100, 100), at(0, 100), at(2, 2)}) {
    clicked = tool->press(p, none);
    if (!clicked) tool->release(p, none);
  }
  REQUIRE(clicked);
  CHECK(clicked->outline.parts[0].outer.size() == 4);

  tool->press(at(30, 30), none);
  tool->release(at(30, 30), none);
  const auto twice = tool->double_click(at(30, 30), none);
  REQUIRE(twice);
  CHECK(twice->kind == Effect::Kind::find_point);
  CHECK_FALSE(tool->busy());
}

TEST_CASE("an island is cut out of the margin") {
  auto tool = make_tool(ToolId::hole);
  const auto o = circle(50, 60);
  tool->press(at(110, 100), o);
  for (int i = 1; i <= 40; ++i) tool->drag(at(100 + 10 * std::cos(i * 0.157), 100 + 10 * std::sin(i * 0.157)), o);
  const auto e = tool->release(at(110, 100), o);
  REQUIRE(e);
  CHECK(e->kind == Effect::Kind::commit);
  REQUIRE(e->outline.parts[0].holes.size() == 1);
  CHECK(area(o) - area(e->outline) == Approx(100 * std::numbers::pi).epsilon(0.03));
}

TEST_CASE("shift turns a stroke that keeps into one that drops") {
  auto tool = make_tool(ToolId::inside);
  auto p = at(0, 0);
  p.shift = true;
  tool->press(p, {});
  tool->drag(at(20, 0), {});
  const auto e = tool->release(at(20, 0), {});
  REQUIRE(e);
  CHECK(e->kind == Effect::Kind::refine);
  CHECK_FALSE(e->inside);
}

TEST_CASE("four corners, then the rectangle's picks are given") {
  auto tool = make_tool(ToolId::rectangle);
  std::optional<Effect> e;
  for (int i = 0; i < 4; ++i) {
    CHECK_FALSE(e);
    tool->press(at(10 * i, i), {});
    e = tool->release(at(10 * i, i), {});
  }
  REQUIRE(e);
  CHECK(e->kind == Effect::Kind::picks);
  CHECK(e->line.size() == 4);
}

TEST_CASE("jobs deliver on the main thread, hand over trouble, and drop what was cancelled") {
  Jobs jobs(2);
  int delivered = 0, troubled = 0;
  jobs.on_trouble = [&](const std::string& label, std::exception_ptr) { troubled += label == "bad"; };
  for (int i = 0; i < 10; ++i) jobs.start("good", [&](const Token&) -> Jobs::Delivery { return [&] { ++delivered; }; });
  jobs.start("bad", [](const Token&) -> Jobs::Delivery { throw std::runtime_error("x"); });
  CHECK(jobs.settle(20));
  CHECK(delivered == 10);
  CHECK(troubled == 1);
  const auto token = jobs.start("gone", [&](const Token& t) -> Jobs::Delivery {
    while (!t.cancelled()) std::this_thread::yield();
    return [&] { delivered = -1; };
  });
  token.cancel();
  CHECK(jobs.settle(20));
  CHECK(delivered == 10);
}

TEST_CASE("jobs wake the window that asked, from while they run, and not after it has taken that back") {
  Jobs jobs(2);
  for (int i = 0; i < 20; ++i) jobs.start("before", [](const Token&) -> Jobs::Delivery { return [] {}; });
  {
    std::atomic<int> woken = 0;
    jobs.set_wake([&] { ++woken; });  // while the workers are at it
    CHECK(jobs.settle(20));
    const int before = woken;
    jobs.start("one more", [](const Token&) -> Jobs::Delivery { return [] {}; });
    CHECK(jobs.settle(20));
    CHECK(woken > before);
    for (int i = 0; i < 20; ++i) jobs.start("after", [](const Token&) -> Jobs::Delivery { return [] {}; });
    jobs.set_wake(nullptr);
  }  // a call from here on would write into what is gone: AddressSanitizer and ThreadSanitizer see it
  CHECK(jobs.settle(20));
}

TEST_CASE("settings survive, damaged ones are the defaults, values out of range come back into it") {
  TempFolder folder;
  Settings s;
  s.scale_percent = 150;
  s.theme = Theme::dark;
  s.remember_book("/tmp/A.uroko");
  save_settings(s, folder / "settings.json");
  const auto back = load_settings(folder / "settings.json");
  CHECK(back.scale_percent == 150);
  CHECK(back.theme == Theme::dark);
  CHECK(back.last_book == "/tmp/A.uroko");
  std::ofstream(folder / "bad.json") << "{";
  CHECK(load_settings(folder / "bad.json").scale_percent == 0);
  std::ofstream(folder / "far.json") << R"({"scale_percent": 4000})";
  CHECK(load_settings(folder / "far.json").scale_percent == 300);
}

TEST_CASE("tiles cover every level once, with a border that repeats the photo's edge") {
  cv::Mat photo(700, 1300, CV_8UC3);
  cv::randu(photo, 0, 255);
  const auto p = build_pyramid(photo, 1, 1300, 700, Token());
  CHECK(p->levels.size() == 3);
  CHECK(p->level_for(1.0) == 0);
  CHECK(p->level_for(0.3) == 1);
  int covered = 0;
  for (int row = 0; row < 2; ++row)
    for (int column = 0; column < 3; ++column) {
      const auto box = tile_box(*p, {0, column, row});
      covered += box.area();
      const auto pixels = tile_pixels(*p, {0, column, row});
      CHECK(pixels.cols == box.width + 2);
      CHECK(pixels.rows == box.height + 2);
      const auto a = pixels.at<cv::Vec4b>(1, 1);
      const auto b = photo.at<cv::Vec3b>(box.y, box.x);
      CHECK((a[0] == b[2] && a[1] == b[1] && a[2] == b[0] && a[3] == 255));
    }
  CHECK(covered == 1300 * 700);
}

TEST_CASE("the guide's Markdown becomes plain blocks, and every page of ours does so without marks left over") {
  using Kind = GuideBlock::Kind;
  const auto blocks = guide_blocks("# One\n\nA **bold** `word` and\na [link](x.md).\n- first\n  goes on\n- second\n\n| a | b |\n| --- | --- |\n| 1 | ![two](p.png) |\n```\n  code # here\n```\n1. last\n");
  const std::vector<GuideBlock> wanted{{Kind::title, "One"},         {Kind::paragraph, "A bold word and a link."}, {Kind::item, "\u2013 first goes on"}, {Kind::item, "\u2013 second"},
                                       {Kind::row, "a  \u00b7  b"}, {Kind::row, "1  \u00b7  [picture: two]"},      {Kind::code, "  code # here"},        {Kind::item, "1. last"}};
  CHECK(blocks == wanted);
  const auto pages = guide_pages();
  REQUIRE(pages.size() > 10);
  CHECK(pages.front().name == "keeping");
  for (const auto& page : pages) {
    INFO(page.file);
    const auto all = guide_blocks(read_file(page.file));
    REQUIRE(all.size() > 3);
    CHECK(all.front() == GuideBlock{Kind::title, page.title});
    for (const auto& block : all)
      if (block.kind != Kind::code) {
        INFO(block.text);
        CHECK(block.text.find("**") == std::string::npos);
        CHECK(block.text.find("](") == std::string::npos);
        CHECK(block.text.find("```") == std::string::npos);
      }
  }
}

TEST_CASE("a typed date is ISO 8601 or day.month.year with dots, nothing else and no impossible day") {
  CHECK(app::typed_date("2026-03-19")->iso_date() == "2026-03-19");
  CHECK(app::typed_date(" 19.3.2026 ")->iso_date() == "2026-03-19");
  CHECK(app::typed_date("01.12.2026")->iso_date() == "2026-12-01");
  CHECK(app::typed_date("2026-03-19T10:30"));
  for (const char* wrong : {"", "31.02.2026", "19.3.26", "19.3.2026x", "3/19/2026", "19.13.2026", "0.1.2026", "19.-3.2026", "2026.03.19"}) {
    INFO(wrong);
    CHECK_FALSE(app::typed_date(wrong));
  }
}
