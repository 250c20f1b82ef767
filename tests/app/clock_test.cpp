// The window's session while the system's clock goes back by a day: the desk's undo, the kept unfinished trace and the book's undo.
#include "support/clock.h"

#include <catch2/catch.hpp>

#include "app/on_the_desk.h"

using namespace uroko;
using namespace uroko::app;
using uroko::testing::ClockMoved;
using uroko::testing::OnTheDesk;

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
    uroko::testing::trace(s);
    first = s.desk->history.now().outline();
    clock.by_days(-1);
    s.accept();
    REQUIRE(s.settle());
    CHECK_FALSE(s.desk->unsaved());
    clock.by_days(-1);
    uroko::testing::move_margin(s);
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
