// A clock that is set back by a day between two steps: what was done later stands later, whatever the dates say.
#include "support/clock.h"

#include <catch2/catch.hpp>

#include "support/temp_folder.h"
#include "uroko/casebook/book.h"
#include "uroko/casebook/due.h"
#include "uroko/casebook/keeping.h"

using namespace uroko;
using namespace uroko::casebook;
using uroko::testing::ClockMoved;
using uroko::testing::TempFolder;

namespace {

struct OnePhoto {
  TempFolder temp;
  Book book = Book::create(temp / "koi.uroko");
  Fish fish{0, "A", "Kohaku", 520.0, "", "pond 1"};
  Wound wound;
  Visit visit;
  PhotoRow photo;
  OnePhoto() {
    book.add(fish);
    wound.fish = fish.id, wound.name = "left flank";
    book.add(wound);
    visit.fish = fish.id, visit.date = DateTime::now(), visit.date_from = photo::DateSource::user;
    book.add(visit);
    photo.visit = visit.id, photo.wound = wound.id, photo.sha256 = std::string(64, 'a'), photo.extension = ".jpg";
    book.add(photo);
  }
  MeasureRow measure(double area) {
    MeasureRow row;
    row.photo = photo.id;
    row.area_mm2 = area, row.u_mm2 = 2, row.low95 = area - 4, row.high95 = area + 4, row.perimeter_mm = 80;
    book.add(row);
    return row;
  }
};

}  // namespace

TEST_CASE("a clock set back by a day: the measure made last is the one that counts, each with the date that its clock said") {
  ClockMoved clock;
  OnePhoto one;
  const auto first = one.measure(456);
  clock.by_days(-1);
  const auto second = one.measure(440);
  CHECK(second.revision == first.revision + 1);
  CHECK(first.made.day_number() - second.made.day_number() == 1);
  const auto check = [&](const Book& book) {
    CHECK(book.latest_measure(one.photo.id).value().area_mm2 == 440);
    const auto all = book.measures(one.photo.id);
    REQUIRE(all.size() == 2);
    CHECK(all[0].area_mm2 == 456);
    CHECK(all[1].area_mm2 == 440);
    CHECK(book.series_of(one.wound.id).looks.at(0).area_mm2 == Approx(440));
  };
  check(one.book);
  check(Book::open(one.temp / "koi.uroko"));
}

TEST_CASE("a clock set back by a day: undo, redo and the history follow the order of what was done, over a restart too") {
  ClockMoved clock;
  OnePhoto one;
  one.measure(456);
  clock.by_days(-1);
  one.measure(440);
  clock.by_days(-1);
  one.fish.note = "calm";
  one.book.update(one.fish);
  {
    auto again = Book::open(one.temp / "koi.uroko");
    const auto history = again.history();
    REQUIRE(history.size() >= 3);
    CHECK(history[0].label.find("Change") == 0);
    CHECK(history[0].made.day_number() < history[1].made.day_number());
    CHECK(history[1].made.day_number() < history[2].made.day_number());
    CHECK(again.undo().find("Change") == 0);
    CHECK(again.find<Fish>(one.fish.id).value().note.empty());
    again.undo();
    CHECK(again.latest_measure(one.photo.id).value().area_mm2 == 456);
  }
  clock.by_days(-1);  // between the undo and the redo as well
  auto again = Book::open(one.temp / "koi.uroko");
  again.redo();
  CHECK(again.latest_measure(one.photo.id).value().area_mm2 == 440);
  again.redo();
  CHECK(again.find<Fish>(one.fish.id).value().note == "calm");
  CHECK_FALSE(again.can_redo());
  // Something new ends the redo although its date is older than that of everything before it.
  again.undo();
  clock.by_days(-1);
  Weight weight{0, one.fish.id, DateTime::now(), 2100, "weighed", ""};
  again.add(weight);
  CHECK_FALSE(again.can_redo());
}

TEST_CASE("a clock set back by a day: a dose is not called due early") {
  ClockMoved clock;
  OnePhoto one;
  Prescription written;
  written.fish = one.fish.id, written.written = DateTime::now(), written.drug = "as prescribed", written.doses = 3, written.interval_hours = 48;
  one.book.add(written);
  Event given;
  given.fish = one.fish.id, given.date = DateTime::now(), given.kind = "injection", given.prescription = written.id;
  one.book.add(given);
  clock.by_days(-1);
  for (const auto& item : due(one.book, DateTime::now(), 30))
    if (item.kind == DueItem::Kind::injection) CHECK(item.state == DueItem::State::later);
  clock.by_days(1 + 2);
  bool is_due = false;
  for (const auto& item : due(one.book, DateTime::now(), 30)) is_due |= item.kind == DueItem::Kind::injection && item.state == DueItem::State::due;
  CHECK(is_due);
}
