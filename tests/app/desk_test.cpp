// Working on the photo of the desk through the session: what a person does by keys and tools, what is measured then, and what is said where something is missing.
#include <cmath>

#include "app/on_the_desk.h"
#include "casebook/database.h"
#include "uroko/base/text.h"
#include "uroko/casebook/measured.h"

using namespace uroko;
using namespace uroko::app;
using uroko::testing::move_margin;
using uroko::testing::OnTheDesk;
using uroko::testing::open_and_trace;
using uroko::testing::trace;

namespace {

struct Open : OnTheDesk {
  Session s{places};
  explicit Open(int visits = 1) : OnTheDesk(visits) {
    s.open_book(koi);
    REQUIRE(s.settle());
    REQUIRE(s.desk);
  }
  void settle() { REQUIRE(s.settle()); }
  bool told(const std::string& part) const { return uroko::testing::told(s, part); }
  double area() const {
    REQUIRE(s.desk->measurement);
    REQUIRE(s.desk->measured == s.desk->generation);
    return s.desk->measurement->area_mm2.value;
  }
  void loop(const std::vector<ImagePoint>& corners) {
    s.press({corners.front()});
    for (std::size_t i = 0; i < corners.size(); ++i)
      for (int k = 1; k <= 4; ++k) {
        const auto &a = corners[i], &b = corners[(i + 1) % corners.size()];
        s.drag({{a.x + (b.x - a.x) * k / 4, a.y + (b.y - a.y) * k / 4}});
      }
    s.release({corners.front()});
    settle();
  }
};

std::vector<ImagePoint> box(double x, double y, double w, double h) { return {{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}}; }

const Ring<ImagePoint>& ring_of_margin(const Session& s) { return s.desk->history.now().outline().parts.at(0).outer; }

}  // namespace

TEST_CASE("a margin is not accepted before there is one, before there is a scale, and before the photo is in a book, and each is said with what to do") {
  Open c;
  c.s.accept();
  CHECK(c.told("There is no margin to accept yet. Loop the wound first (L)."));
  c.s.choose_tool(ToolId::inside);
  c.s.press({{350, 250}});
  c.s.drag({{380, 250}});
  c.s.release({{380, 250}});
  CHECK(c.told("There is no margin to correct yet. Loop the wound first (L)."));
  c.s.choose_tool(ToolId::loop);
  c.loop(box(270, 170, 260, 220));
  REQUIRE(c.s.desk->history.now().margin);
  c.s.accept();
  CHECK(c.told("The photo has no scale yet."));
  CHECK(c.s.writes_waiting() == 0);
  // A photo that is in no book: the form that takes it in is asked for, and comes again when it was closed.
  Session loose(Places{c.folder / "s.json", c.folder / "u.json", {}});
  loose.drop_files({c.folder / "a.png"});
  REQUIRE(loose.settle());
  trace(loose);
  loose.accept();
  REQUIRE_FALSE(loose.notices.empty());
  CHECK(loose.notices.back().text == "This photo is not in the case book yet.");
  loose.escape();
  while (loose.import_form) loose.escape();
  loose.accept();
  REQUIRE(loose.settle());
  REQUIRE(loose.import_form);
  CHECK(loose.import_form->items.at(0).file == c.folder / "a.png");
  CHECK(loose.desk->unsaved());  // the trace is still there
}

TEST_CASE("arrows nudge the point that was touched by one pixel, with Shift by ten, Delete takes it away, and each is a step of undo") {
  Open c;
  trace(c.s);
  const auto corner = ring_of_margin(c.s).front();
  const auto count = ring_of_margin(c.s).size();
  c.s.press({corner});
  c.s.release({corner});
  const auto press = [&](const char* key, bool shift = false) { return c.s.key({key, false, shift, false}); };
  CHECK(press("Right"));
  CHECK(press("Down"));
  c.settle();
  CHECK(distance(ring_of_margin(c.s).front(), ImagePoint{corner.x + 1, corner.y + 1}) < 1e-9);
  CHECK(press("Left", true));
  CHECK(press("Up", true));
  c.settle();
  CHECK(distance(ring_of_margin(c.s).front(), ImagePoint{corner.x - 9, corner.y - 9}) < 1e-9);
  CHECK(*c.s.undo_label() == "nudge a point");
  CHECK(press("Delete"));
  c.settle();
  CHECK(ring_of_margin(c.s).size() == count - 1);
  CHECK(*c.s.undo_label() == "take a point away");
  for (int i = 0; i < 5; ++i) c.s.undo();
  c.settle();
  CHECK(ring_of_margin(c.s).front() == corner);
  CHECK(*c.s.redo_label() == "nudge a point");
  c.s.clear_margin();
  c.settle();
  CHECK_FALSE(press("Left"));  // nothing to nudge
}

TEST_CASE("a second part and an island of skin change the area by what they are, and undo takes them back one by one") {
  OnTheDesk c;
  cv::Mat picture(600, 800, CV_8UC3, cv::Scalar(200, 205, 210));
  picture(cv::Rect(300, 200, 200, 160)).setTo(cv::Scalar(50, 40, 160));
  picture(cv::Rect(600, 220, 80, 120)).setTo(cv::Scalar(50, 40, 160));
  write_file_whole(c.folder / "two.png", photo::encode_png(picture));
  Session s(c.places);
  s.drop_files({c.folder / "two.png"});
  REQUIRE(s.settle());
  trace(s);  // 8 px/mm
  const double one = s.desk->measurement->area_mm2.value;
  CHECK(one == Approx(200 * 160 / 64.0).epsilon(0.03));
  const auto draw = [&](ToolId tool, const std::vector<ImagePoint>& corners) {
    s.choose_tool(tool);
    for (const auto& p : corners) s.press({p}), s.release({p});
    s.accept();  // Enter closes the loop
    REQUIRE(s.settle());
    REQUIRE(s.desk->measurement);
  };
  draw(ToolId::part, box(580, 200, 120, 160));
  INFO((s.desk->margin_refusal ? s.desk->margin_refusal->text : "margin found"));
  CHECK(s.desk->history.now().outline().parts.size() == 2);
  CHECK(s.desk->measurement->area_mm2.value - one == Approx(80 * 120 / 64.0).epsilon(0.05));
  CHECK(*s.undo_label() == "add a part");
  const double two = s.desk->measurement->area_mm2.value;
  draw(ToolId::hole, box(360, 250, 48, 40));
  CHECK(two - s.desk->measurement->area_mm2.value == Approx(48 * 40 / 64.0).epsilon(0.01));
  CHECK(*s.undo_label() == "cut an island");
  s.undo();
  s.undo();
  REQUIRE(s.settle());
  CHECK(s.desk->measurement->area_mm2.value == Approx(one));
}

TEST_CASE("a proposed margin is found without a hint, is marked as one, and a drawn loop takes its place") {
  Open c;
  c.s.choose_tool(ToolId::ruler);
  c.s.scale_form->first = "50";
  c.s.scale_form->picks = {{100, 500}, {500, 500}};
  c.s.give_scale();
  c.settle();
  CHECK(c.s.run("margin.propose"));
  c.settle();
  INFO((c.s.desk->margin_refusal ? c.s.desk->margin_refusal->text : "margin found"));
  REQUIRE(c.s.desk->history.now().margin);
  CHECK(c.s.desk->proposed());
  CHECK(*c.s.undo_label() == "propose a margin");
  CHECK(c.area() == Approx(500).epsilon(0.05));
  c.s.choose_tool(ToolId::loop);
  c.loop(box(270, 170, 260, 220));
  CHECK_FALSE(c.s.desk->proposed());
  c.s.undo();
  c.settle();
  CHECK(c.s.desk->proposed());
}

TEST_CASE("the flank's curve wants a scale and a body that can be, says so where one is missing, and flat gives the area again") {
  Open c;
  c.s.choose_tool(ToolId::midline);
  REQUIRE(c.s.scale_form);
  c.s.give_scale();
  CHECK(c.s.scale_form->fault.text == "Click in the photo first.");
  c.s.scale_form->picks = {{100, 300}, {700, 300}};
  c.s.scale_form->first = "180", c.s.scale_form->second = "x";
  c.s.give_scale();
  CHECK(c.s.scale_form->fault.text.find("number of millimetres") != std::string::npos);
  c.s.scale_form->second = "118";
  c.s.give_scale();
  CHECK(c.s.scale_form->fault.text == "Give the scale first.");
  trace(c.s);
  const double flat = c.area();
  CHECK_FALSE(c.s.run("scale.flat"));  // it is flat
  const auto curve = [&](double y, const char* depth, const char* width) {
    c.s.choose_tool(ToolId::midline);
    for (const double x : {100.0, 700.0}) {
      c.s.press({{x, y}});
      c.s.release({{x, y}});
    }
    c.s.scale_form->first = depth, c.s.scale_form->second = width;
    c.s.give_scale();
    c.settle();
    REQUIRE(c.s.desk->history.now().body);
  };
  curve(280, "180", "118");
  CHECK_FALSE(c.s.desk->measure_refusal);
  CHECK(c.s.desk->measurement->curvature_factor > 1);
  CHECK(c.area() > flat);
  c.s.choose_tool(ToolId::midline);  // opens with what was said
  CHECK(c.s.scale_form->first == "180");
  CHECK(c.s.scale_form->second == "118");
  CHECK(c.s.scale_form->picks.size() == 2);
  curve(20, "10", "10");  // no body so small shows its midline 60 mm from where the ruler touches it
  REQUIRE(c.s.desk->measure_refusal);
  CHECK_FALSE(c.s.desk->measurement);
  c.s.accept();
  CHECK(c.s.writes_waiting() == 0);
  CHECK(c.told("This margin has no area: no body of 10 x 10 mm shows its midline there"));
  CHECK(c.s.run("scale.flat"));
  c.settle();
  CHECK_FALSE(c.s.desk->measure_refusal);
  CHECK(c.area() == Approx(flat));
}

TEST_CASE("a length that is none, or a pick that is missing, is told in the scale's form and no scale is found with it") {
  Open c;
  c.s.choose_tool(ToolId::ruler);
  c.s.give_scale();
  CHECK(c.s.scale_form->fault.text == "Click in the photo first.");
  for (const char* wrong : {"", "ten", "0", "-3", "2001"}) {
    c.s.scale_form->picks = {{100, 500}, {500, 500}};
    c.s.scale_form->first = wrong;
    c.s.give_scale();
    CHECK(c.s.scale_form->fault.text.find("between 0 and 2000") != std::string::npos);
  }
  c.s.choose_tool(ToolId::rectangle);
  CHECK(c.s.scale_form->first == "85.60");  // ISO/IEC 7810 ID-1
  c.s.scale_form->picks = box(300, 200, 200, 160);
  c.s.scale_form->second = "";
  c.s.confirm_form();  // Enter
  CHECK(c.s.scale_form->fault.text.find("between 0 and 2000") != std::string::npos);
  c.settle();
  CHECK_FALSE(c.s.desk->history.now().map);
}

TEST_CASE("a picked grey is a step of its own, goes into the book with the measure and comes back with it") {
  Open c;
  trace(c.s);
  c.s.choose_tool(ToolId::grey);
  c.s.press({{50, 60}});
  c.s.release({{50, 60}});
  c.settle();
  CHECK(*c.s.undo_label() == "pick a neutral grey");
  CHECK(c.s.desk->history.now().grey == ImagePoint{50, 60});
  CHECK(c.s.desk->bed);
  CHECK(c.s.desk->tool->id() == ToolId::points);
  c.s.accept();
  c.settle();
  std::filesystem::remove(c.places.unfinished);
  Session again(Places{c.places.settings, c.folder / "none.json", {}});
  again.open_book(c.koi);
  REQUIRE(again.settle());
  REQUIRE(again.desk);
  CHECK(again.desk->history.now().grey == ImagePoint{50, 60});
  CHECK_FALSE(again.desk->unsaved());
}

TEST_CASE("a stored margin that cannot be read is told, and the photo can be traced anew") {
  OnTheDesk c;
  {
    Session s(c.places);
    open_and_trace(s, c.koi);
    s.accept();
    REQUIRE(s.settle());
  }
  std::filesystem::remove(c.places.unfinished);
  {
    casebook::Database book(c.koi / "book.sqlite", casebook::Database::Mode::write);
    book.begin();
    book.run("UPDATE measure SET margin_wkt = 'POLYGON ((1 2, 3'");
    book.commit();
  }
  Session s(c.places);
  s.open_book(c.koi);
  REQUIRE(s.settle());
  REQUIRE(s.desk);
  REQUIRE_FALSE(s.notices.empty());
  CHECK(s.notices.back().text.find("The stored margin could not be read") == 0);
  CHECK(s.notices.back().advice == "Trace it again; the old one stays in the book.");
  CHECK_FALSE(s.desk->history.now().margin);
  trace(s);
  s.accept();
  REQUIRE(s.settle());
  CHECK_FALSE(s.desk->unsaved());
  CHECK(casebook::Book::open(c.koi, casebook::Access::read).all<casebook::MeasureRow>().size() == 2);
}

TEST_CASE("the view's commands move the photo as they say") {
  Open c;
  trace(c.s);
  auto& v = c.s.desk->view;
  c.s.resize_photo(400, 300);
  REQUIRE(c.s.run("view.fit"));
  CHECK(v.zoom == Approx(0.5));
  REQUIRE(c.s.run("view.one"));
  CHECK(v.zoom == 1);
  REQUIRE(c.s.run("view.in"));
  CHECK(v.zoom == Approx(1.25));
  REQUIRE(c.s.run("view.out"));
  CHECK(v.zoom == Approx(1));
  REQUIRE(c.s.run("view.turn_right"));
  REQUIRE(c.s.run("view.turn_right"));
  REQUIRE(c.s.run("view.turn_left"));
  CHECK(v.turn_deg == Approx(15));
  REQUIRE(c.s.run("view.upright"));
  CHECK(v.turn_deg == 0);
  REQUIRE(c.s.run("view.margin"));
  for (const auto& p : ring_of_margin(c.s)) {
    const auto at = v.to_screen(p);
    CHECK((at.x > 0 && at.x < 400 && at.y > 0 && at.y < 300));
  }
  CHECK(v.zoom > 0.6);
}

TEST_CASE("every switch can be put back by the same key, and what belongs to the window is kept for the next start") {
  Open c;
  trace(c.s);
  const auto look = [&] {
    auto& s = c.s;
    return std::vector<bool>{s.loupe_shown, s.ghost_shown, s.overlay_shown, s.reasons_open, s.budget_open, s.bank.others, s.bank_folded(), s.list_visible(), s.settings_open, s.lens_open, s.guide.open, s.settings.theme == Theme::dark, s.step == Step::compare && s.compare.nested};
  };
  for (const char* id : {"view.loupe", "view.ghost", "view.bed", "result.reasons", "result.budget", "bank.others", "bank.fold", "list.fold", "window.settings", "scale.lens", "window.guide", "window.theme", "compare.mode"}) {
    INFO(id);
    const auto before = look();
    REQUIRE(c.s.run(id));
    CHECK(look() != before);
    REQUIRE(c.s.run(id));
    CHECK(look() == before);
  }
  const auto axis = c.s.bank.axis;
  for (int i = 0; i < 3; ++i) {
    REQUIRE(c.s.run("bank.axis"));
    CHECK((c.s.bank.axis == axis) == (i == 2));
  }
  for (int i = 0; i < 12; ++i) REQUIRE(c.s.run("window.larger"));
  CHECK(c.s.settings.scale_percent == 300);
  for (int i = 0; i < 12; ++i) REQUIRE(c.s.run("window.smaller"));
  CHECK(c.s.settings.scale_percent == 75);
  REQUIRE(c.s.run("window.larger"));
  const auto version = c.s.course_version();
  c.s.set_degree_day_base(6.5);
  CHECK(c.s.course_version() != version);
  c.settle();
  const auto kept = load_settings(c.places.settings);
  CHECK(kept.scale_percent == 90);
  CHECK(kept.degree_day_base_c == 6.5);
  CHECK(kept.theme == Theme::light);
}

TEST_CASE("Escape gives up the uppermost thing only, from the list of commands down to the last notice") {
  Open c(2);
  trace(c.s);
  auto& s = c.s;
  s.tell(Notice::Kind::done, "one");
  s.start_tour();
  s.set_step(Step::compare);
  s.settings_open = true;
  s.import_form.emplace();
  s.open_visit();
  s.open_wound();
  s.open_fish();
  s.open_dose();
  s.open_log();
  s.path_form.emplace();
  s.show_guide();
  REQUIRE(s.run("window.commands"));
  const auto open = [&] {
    std::string out;
    const std::vector<std::pair<const char*, bool>> things = {{"commands", s.palette.open}, {"guide", s.guide.open}, {"tour", s.tour_at.has_value()}, {"path", s.path_form.has_value()}, {"log", s.log_form.has_value()}, {"dose", s.dose_form.has_value()},
                                                              {"fish", s.fish_form.has_value()}, {"wound", s.wound_form.has_value()}, {"visit", s.visit_form.has_value()}, {"import", s.import_form.has_value()}, {"settings", s.settings_open}, {"compare", s.step == Step::compare}, {"notice", !s.notices.empty()}};
    for (const auto& [name, is] : things)
      if (is) out += std::string(name) + " ";
    return out;
  };
  std::string left = "commands guide tour path log dose fish wound visit import settings compare notice ";
  REQUIRE(open() == left);
  while (!left.empty()) {
    s.escape();
    left.erase(0, left.find(' ') + 1);
    CHECK(open() == left);
  }
  s.escape();  // and nothing more
  // At the desk: the stroke under way, then the tool.
  s.choose_tool(ToolId::loop);
  s.press({{10, 10}}), s.release({{10, 10}});
  CHECK(*s.undo_label() == "the stroke under way");
  s.escape();
  CHECK(s.desk->tool->id() == ToolId::loop);
  s.escape();
  CHECK(s.desk->tool->id() == ToolId::points);
  // Undo takes a half-drawn loop back before any step.
  s.choose_tool(ToolId::loop);
  s.press({{10, 10}}), s.release({{10, 10}});
  const auto at = s.desk->history.at();
  s.undo();
  CHECK(s.desk->history.at() == at);
  CHECK_FALSE(s.desk->tool->busy());
}

TEST_CASE("fish and wounds are gone through in the list's order and round again, and what is put aside is followed by the next one") {
  OnTheDesk c;
  {
    auto book = casebook::Book::open(c.koi);
    book.wound_or_new(book.fish().at(0).id, "tail");
    book.wound_or_new(book.fish_or_new("B").id, "back");
  }
  Session s(c.places);
  s.open_book(c.koi);
  REQUIRE(s.settle());
  const auto here = [&] {
    REQUIRE(s.settle());
    return s.current_wound() ? s.current_fish()->fish.name + " " + s.current_wound()->wound.name : std::string("nothing");
  };
  REQUIRE(here() == "A left flank");
  std::vector<std::string> seen;
  for (int i = 0; i < 3; ++i) {
    s.step_fish(1);
    seen.push_back(here());
  }
  CHECK(seen == std::vector<std::string>{"A tail", "B back", "A left flank"});
  s.step_fish(-1);
  CHECK(here() == "B back");
  s.put_wound_aside();
  REQUIRE(s.settle());
  CHECK(s.current_fish()->fish.name == "B");
  CHECK_FALSE(s.current_wound());
  s.put_fish_aside();
  CHECK(here() == "A left flank");
  CHECK(s.book.fish.size() == 1);
  CHECK(s.notices.back().text == "The fish is put aside; nothing is deleted.");
  s.put_fish_aside();
  CHECK(here() == "nothing");
  CHECK_FALSE(s.desk);
  CHECK(s.book.fish.empty());
  for (int i = 0; i < 3; ++i) {
    s.undo();
    REQUIRE(s.settle());
  }
  REQUIRE(s.book.fish.size() == 2);
  CHECK(s.book.fish[1].wounds.size() == 1);
  s.select_fish(s.book.fish[1].fish.id);
  CHECK(here() == "B back");
}

TEST_CASE("the small pictures of the strip come when they are asked for, and one whose file is gone is told once and does not stop the others") {
  Open c(2);
  const auto& visits = c.s.current_wound()->visits;
  const auto &first = visits.at(0).photos.at(0), &second = visits.at(1).photos.at(0);
  CHECK_FALSE(c.s.thumbnail(first));
  std::filesystem::remove(first.file);
  c.s.want_thumbnail(first);
  c.s.want_thumbnail(second);
  c.s.turn();
  c.settle();
  CHECK_FALSE(c.s.thumbnail(first));
  REQUIRE(c.s.thumbnail(second));
  CHECK(c.s.thumbnail(second)->size() == cv::Size(160, 160));
  REQUIRE(c.s.notices.size() == 1);
  CHECK(c.s.notices[0].kind == Notice::Kind::trouble);
  c.s.put_notice_away(3);
  CHECK(c.s.notices.size() == 1);
  c.s.put_notice_away(0);
  c.s.want_thumbnail(first);
  c.s.turn();
  c.settle();
  CHECK(c.s.notices.empty());
}
