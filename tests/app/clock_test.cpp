// The window's session while the system's clock goes back by a day: the desk's undo, the kept unfinished trace and the book's undo.
#include "support/clock.h"

#include <catch2/catch.hpp>

#include "support/temp_folder.h"
#include "uroko/app/session.h"
#include "uroko/base/file.h"
#include "uroko/casebook/book.h"
#include "uroko/photo/photo.h"

using namespace uroko;
using namespace uroko::app;
using uroko::testing::ClockMoved;
using uroko::testing::TempFolder;

namespace {

/// A small photo with a red patch, in a book of one visit, and a scale by two picks of a ruler.
struct OnTheDesk {
  TempFolder folder;
  Places places{folder / "settings.json", folder / "unfinished.json", {}};
  OnTheDesk() {
    cv::Mat picture(600, 800, CV_8UC3, cv::Scalar(200, 205, 210));
    picture(cv::Rect(300, 200, 200, 160)).setTo(cv::Scalar(50, 40, 160));
    write_file_whole(folder / "a.png", photo::encode_png(picture));
    auto book = casebook::Book::create(folder / "koi.uroko");
    casebook::NewPhotos photos;
    photos.files = {folder / "a.png"};
    photos.fish = "A", photos.wound = "left flank", photos.date = DateTime::now();
    REQUIRE_FALSE(book.add_photos(photos).at(0).error);
  }
};

}  // namespace

TEST_CASE("a clock set back by a day while a wound is traced: undo, the kept trace and the book follow what was done last, over a restart too") {
  ClockMoved clock;
  OnTheDesk setting;
  ImageOutline first, moved;
  {
    Session s(setting.places);
    s.open_book(setting.folder / "koi.uroko");
    REQUIRE(s.settle());
    if (!s.desk) s.step_visit(1);
    REQUIRE(s.settle());
    REQUIRE(s.desk);
    s.choose_tool(ToolId::ruler);
    s.scale_form->first = "50";
    s.scale_form->picks = {{100, 500}, {500, 500}};
    s.give_scale();
    REQUIRE(s.settle());
    REQUIRE(s.desk->history.now().map);
    s.choose_tool(ToolId::loop);
    const std::vector<ImagePoint> loop = {{270, 170}, {400, 165}, {530, 170}, {535, 280}, {530, 390}, {400, 395}, {270, 390}, {265, 280}, {270, 170}};
    s.press({loop.front()});
    for (const auto& p : loop) s.drag({p});
    s.release({loop.back()});
    REQUIRE(s.settle());
    REQUIRE(s.desk->measurement);
    first = s.desk->history.now().outline();
    clock.by_days(-1);
    s.accept();
    REQUIRE(s.settle());
    CHECK_FALSE(s.desk->unsaved());
    clock.by_days(-1);
    s.choose_tool(ToolId::points);
    const auto from = first.parts[0].outer.front();
    s.press({from});
    s.drag({{from.x - 12, from.y - 9}});
    s.release({{from.x - 12, from.y - 9}});
    REQUIRE(s.settle());
    moved = s.desk->history.now().outline();
    REQUIRE_FALSE(moved == first);
    CHECK(s.desk->unsaved());
    REQUIRE(s.undo_label());
    CHECK(*s.undo_label() == "move the margin");
    s.undo();
    CHECK(s.desk->history.now().outline() == first);
    clock.by_days(-1);
    s.redo();
    REQUIRE(s.settle());
    CHECK(s.desk->history.now().outline() == moved);
  }
  clock.by_days(-1);
  Session s(setting.places);
  s.open_last();
  REQUIRE(s.settle());
  REQUIRE(s.desk);
  CHECK(dice(s.desk->history.now().outline(), moved) > 0.9999);  // the newest of what was kept
  CHECK(s.desk->unsaved());
  s.undo();
  REQUIRE(s.settle());
  CHECK(dice(s.desk->history.now().outline(), first) > 0.9999);
  s.redo();
  REQUIRE(s.settle());
  s.accept();
  REQUIRE(s.settle());
  const auto book = casebook::Book::open(setting.folder / "koi.uroko", casebook::Access::read);
  const auto measures = book.measures(s.desk->place.photo);
  REQUIRE(measures.size() == 2);
  // The second was made "before" the first, and is the one that counts.
  CHECK(measures[1].made.day_number() < measures[0].made.day_number());
  CHECK(measures[1].revision == 2);
  CHECK(book.latest_measure(s.desk->place.photo).value().id == measures[1].id);
  CHECK(s.course());
}
