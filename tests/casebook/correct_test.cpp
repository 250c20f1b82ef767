#include <catch2/catch.hpp>

#include "casebook/made.h"
#include "support/temp_folder.h"
#include "uroko/casebook/book.h"
#include "uroko/casebook/keeping.h"

using namespace uroko;
using namespace uroko::casebook;
using uroko::casebook::testing::day;
using uroko::casebook::testing::small_photo;
using uroko::testing::TempFolder;

namespace {

/// One photo of fish A, wound "left", a day each; the first day's visit holds water of 18.5 degrees and a note.
struct Taken {
  explicit Taken(const std::vector<std::string>& days) : book(Book::create(temp / "koi.uroko")) {
    for (std::size_t i = 0; i < days.size(); ++i) {
      NewPhotos n;
      n.files = {small_photo(temp, std::to_string(i) + ".jpg", 20.0 + 40.0 * static_cast<double>(i))}, n.fish = "A", n.wound = "left", n.date = day(days[i]);
      if (i == 0) n.water_c = 18.5;
      const auto added = book.add_photos(n);
      photos.push_back(added[0].photo);
      visits.push_back(added[0].visit);
      MeasureRow m;
      m.photo = added[0].photo;
      m.area_mm2 = 400 - 50.0 * static_cast<double>(i), m.u_mm2 = 4, m.low95 = 300, m.high95 = 410, m.margin_wkt = "POLYGON((1 1,20 1,20 20,1 1))";
      book.add(m);
    }
    auto first = *book.find<Visit>(visits[0]);
    first.note = "calm";
    book.update(first);
  }
  std::vector<std::string> days() const {
    std::vector<std::string> out;
    const auto fish = book.everything();
    for (const auto& v : fish.at(0).wounds.at(0).visits) out.push_back(v.visit.date.iso_date() + " x" + std::to_string(v.photos.size()));
    return out;
  }
  using Days = std::vector<std::string>;
  TempFolder temp;
  Book book;
  std::vector<Id> photos, visits;
};

}  // namespace

TEST_CASE("a visit on a wrong day moves as it is, with its water and note, the curve follows, and undo takes it back whole") {
  Taken t({"2025-03-02", "2026-03-09"});
  const auto wound = t.book.find<PhotoRow>(t.photos[0])->wound;
  CHECK(t.book.move_photo(t.photos[0], day("2026-03-02"), wound) == t.visits[0]);
  CHECK(t.days() == Taken::Days{"2026-03-02 x1", "2026-03-09 x1"});
  const auto moved = *t.book.find<Visit>(t.visits[0]);
  CHECK(moved.water_c == 18.5);
  CHECK(moved.note == "calm");
  CHECK(moved.date_from == photo::DateSource::user);
  const auto series = t.book.series_of(wound);
  REQUIRE(series.looks.size() == 2);
  CHECK(series.looks[1].date.day_number() - series.looks[0].date.day_number() == 7);
  CHECK(t.book.undo() == "Correct a photo's day or wound");
  CHECK(t.days() == Taken::Days{"2025-03-02 x1", "2026-03-09 x1"});
  CHECK(check(t.book.folder()).ok());
}

TEST_CASE("onto the day of another visit the photo joins it: what the emptied visit said goes along, but nothing is said over") {
  Taken t({"2026-03-02", "2026-03-09"});
  const auto wound = t.book.find<PhotoRow>(t.photos[0])->wound;
  CHECK(t.book.move_photo(t.photos[0], day("2026-03-09"), wound) == t.visits[1]);
  CHECK(t.days() == Taken::Days{"2026-03-09 x2"});
  CHECK(t.book.find<Visit>(t.visits[1])->water_c == 18.5);
  CHECK(t.book.find<Visit>(t.visits[1])->note == "calm");
  CHECK(t.book.visits(t.book.fish()[0].id).size() == 1);
  // One of two goes back: the other one stays where it is.
  const auto own = t.book.move_photo(t.photos[0], day("2026-03-04"), wound);
  CHECK(own != t.visits[1]);
  CHECK(t.days() == Taken::Days{"2026-03-04 x1", "2026-03-09 x1"});
  CHECK_FALSE(t.book.find<Visit>(own)->water_c);
  CHECK(check(t.book.folder()).ok());
}

TEST_CASE("a photo goes to another fish's wound with its measures, and not where it is already") {
  Taken t({"2026-03-02", "2026-03-09"});
  Fish other;
  other.name = "B";
  t.book.add(other);
  Wound tail;
  tail.fish = other.id, tail.name = "tail";
  t.book.add(tail);
  const auto left = t.book.find<PhotoRow>(t.photos[1])->wound;
  t.book.move_photo(t.photos[1], day("2026-03-09"), tail.id);
  CHECK(t.days() == Taken::Days{"2026-03-02 x1"});
  CHECK(t.book.series_of(tail.id).looks.at(0).area_mm2 == 350);
  CHECK(t.book.visits(t.book.fish()[0].id).size() == 1);
  CHECK(t.book.visits(other.id).size() == 1);
  // The same picture as a second row of one wound: refused, nothing changed.
  NewPhotos again;
  again.files = {t.temp / "1.jpg"}, again.fish = "B", again.wound = "head", again.date = day("2026-03-09");
  const auto twin = t.book.add_photos(again).at(0);
  REQUIRE_FALSE(twin.already);
  CHECK_THROWS_AS(t.book.move_photo(twin.photo, day("2026-03-09"), tail.id), Error);
  CHECK(t.book.find<PhotoRow>(twin.photo)->wound != tail.id);
  CHECK_THROWS_AS(t.book.move_photo(999, day("2026-03-09"), left), Error);
  CHECK_THROWS_AS(t.book.move_photo(t.photos[0], day("2026-03-09"), 999), Error);
  CHECK(check(t.book.folder()).ok());
}

TEST_CASE("a photo put aside takes its visit along when that says nothing else") {
  Taken t({"2026-03-02", "2026-03-09"});
  const auto fish = t.book.fish()[0].id;
  t.book.put_photo_aside(t.photos[1]);
  CHECK(t.days() == Taken::Days{"2026-03-02 x1"});
  CHECK(t.book.visits(fish).size() == 1);
  t.book.put_photo_aside(t.photos[0]);
  CHECK(t.book.visits(fish).size() == 1);  // its water and note stay
  t.book.undo();
  t.book.undo();
  CHECK(t.days() == Taken::Days{"2026-03-02 x1", "2026-03-09 x1"});
  CHECK(check(t.book.folder()).ok());
}
