#include "uroko/casebook/due.h"

#include <catch2/catch.hpp>

#include "casebook/made.h"
#include "support/temp_folder.h"

using namespace uroko;
using namespace uroko::casebook;
using uroko::casebook::testing::day;
using uroko::testing::TempFolder;

namespace {

struct Patient {
  TempFolder temp;
  Book book = Book::create(temp / "koi.uroko");
  Fish fish{0, "A"};
  Wound wound;
  Patient() {
    book.add(fish);
    wound.fish = fish.id, wound.name = "left";
    book.add(wound);
  }
  void event(const std::string& date, const std::string& kind, std::optional<Id> prescription = {}, bool whole_fish = false) {
    book.add(Event{0, fish.id, whole_fish ? std::nullopt : std::optional(wound.id), day(date), kind, "", "", prescription});
  }
  void visit(const std::string& date, const std::string& next = "") {
    Visit v;
    v.fish = fish.id, v.date = day(date), v.date_from = photo::DateSource::user;
    if (!next.empty()) v.next_look = day(next);
    book.add(v);
  }
  std::vector<DueItem> on(const std::string& date) { return due(book, day(date), 30); }
};

}  // namespace

TEST_CASE("a recheck waits two to three days after a treatment and goes when the fish was looked at") {
  Patient p;
  p.visit("2026-03-02");
  p.event("2026-03-02", "debridement");
  auto items = p.on("2026-03-03");
  REQUIRE(items.size() == 1);
  CHECK(items[0].kind == DueItem::Kind::recheck);
  CHECK(items[0].state == DueItem::State::later);
  CHECK(items[0].from == day("2026-03-04"));
  CHECK(p.on("2026-03-04")[0].state == DueItem::State::due);
  CHECK(p.on("2026-03-05")[0].state == DueItem::State::due);
  CHECK(p.on("2026-03-06")[0].state == DueItem::State::overdue);
  p.visit("2026-03-05");
  CHECK(p.on("2026-03-06").empty());
}

TEST_CASE("the days of a recheck are the book's setting") {
  Patient p;
  p.event("2026-03-02", "cleaning");
  p.book.set_setting(kRecheckFromDays, "5");
  p.book.set_setting(kRecheckToDays, "6");
  CHECK(p.on("2026-03-06")[0].state == DueItem::State::later);
  CHECK(p.on("2026-03-07")[0].state == DueItem::State::due);
}

TEST_CASE("water changes and sedation ask for no recheck, a closed wound and a trashed fish ask for nothing") {
  Patient p;
  p.event("2026-03-02", "water change", {}, true);
  p.event("2026-03-02", "sedation", {}, true);
  CHECK(p.on("2026-03-04").empty());
  p.event("2026-03-02", "injection", {}, true);
  CHECK(p.on("2026-03-04").size() == 1);
  p.wound.closed = day("2026-03-03");
  p.book.update(p.wound);
  CHECK(p.on("2026-03-04").empty());
  p.book.undo();
  CHECK(p.on("2026-03-04").size() == 1);
  p.book.trash<Fish>(p.fish.id);
  CHECK(p.on("2026-03-04").empty());
}

TEST_CASE("a swab waits about two days for its result, until it is reported") {
  Patient p;
  Swab swab;
  swab.fish = p.fish.id, swab.wound = p.wound.id, swab.taken = day("2026-03-02"), swab.laboratory = "the laboratory";
  p.book.add(swab);
  CHECK(p.on("2026-03-03")[0].state == DueItem::State::later);
  CHECK(p.on("2026-03-04")[0].state == DueItem::State::due);
  CHECK(p.on("2026-03-06")[0].state == DueItem::State::overdue);
  swab.reported = day("2026-03-05");
  p.book.update(swab);
  CHECK(p.on("2026-03-06").empty());
}

TEST_CASE("the next dose follows the prescription's own interval and number, never called early") {
  Patient p;
  Prescription rx;
  rx.fish = p.fish.id, rx.written = day("2026-03-02"), rx.drug = "X", rx.interval_hours = 36, rx.doses = 3;
  p.book.add(rx);
  CHECK(p.on("2026-03-02")[0].text.rfind("dose 1 of 3 of X", 0) == 0);
  p.event("2026-03-02T10:00:00", "injection", rx.id, true);
  p.visit("2026-03-20");
  auto items = p.on("2026-03-03");
  REQUIRE(items.size() == 1);
  CHECK(items[0].from == day("2026-03-03T22:00"));
  CHECK(due(p.book, day("2026-03-03T21:59"))[0].state == DueItem::State::later);
  CHECK(due(p.book, day("2026-03-03T22:00"))[0].state == DueItem::State::due);
  CHECK(p.on("2026-03-05")[0].state == DueItem::State::overdue);
  p.event("2026-03-04", "injection", rx.id, true);  // no time of day: 36 h become whole days, upwards
  CHECK(p.on("2026-03-05")[0].from == day("2026-03-06"));
  p.event("2026-03-06", "injection", rx.id, true);
  CHECK(p.on("2026-03-30").empty());
  p.book.undo();
  rx.stopped = day("2026-03-06");
  p.book.update(rx);
  CHECK(p.on("2026-03-30").empty());
}

TEST_CASE("a look agreed at a visit is due on its day until the next visit") {
  Patient p;
  p.visit("2026-03-02", "2026-03-12");
  CHECK(p.on("2026-03-10")[0].state == DueItem::State::later);
  CHECK(p.on("2026-03-13")[0].state == DueItem::State::overdue);
  p.visit("2026-03-12");
  CHECK(p.on("2026-03-13").empty());
}

TEST_CASE("the most pressing stands first") {
  Patient p;
  p.event("2026-03-01", "cleaning");
  Swab swab;
  swab.fish = p.fish.id, swab.taken = day("2026-03-05");
  p.book.add(swab);
  const auto items = p.on("2026-03-06");
  REQUIRE(items.size() == 2);
  CHECK(items[0].state == DueItem::State::overdue);
  CHECK(items[1].state == DueItem::State::later);
}
