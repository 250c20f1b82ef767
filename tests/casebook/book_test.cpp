#include "uroko/casebook/book.h"

#include <catch2/catch.hpp>

#include "casebook/database.h"
#include "casebook/made.h"
#include "support/temp_folder.h"
#include "uroko/base/error.h"

using namespace uroko;
using namespace uroko::casebook;
using uroko::casebook::testing::day;
using uroko::testing::TempFolder;

namespace {

struct OneWound {
  TempFolder temp;
  Book book = Book::create(temp / "koi.uroko");
  Fish fish{0, "A", "Kohaku", 520.0, "", "pond 1"};
  Wound wound;
  OneWound() {
    book.add(fish);
    wound.fish = fish.id;
    wound.name = "left flank";
    book.add(wound);
  }
  Id photo_of(const std::string& date, const std::string& sha, const std::string& moment = "") {
    Visit visit;
    visit.fish = fish.id;
    visit.date = day(date);
    visit.date_from = photo::DateSource::user;
    visit.water_c = 18.5;
    for (const auto& there : book.visits(fish.id))
      if (there.date.iso_date() == visit.date.iso_date()) visit = there;
    if (!visit.id) book.add(visit);
    PhotoRow row;
    row.visit = visit.id;
    row.wound = wound.id;
    row.sha256 = std::string(64 - sha.size(), '0') + sha;
    row.extension = ".jpg";
    row.moment = moment;
    return book.add(row);
  }
  MeasureRow measure(Id photo, double area, double u = 2) {
    MeasureRow row;
    row.photo = photo;
    row.area_mm2 = area;
    row.u_mm2 = u;
    row.low95 = area - 2 * u;
    row.high95 = area + 2 * u;
    row.perimeter_mm = 80;
    row.bed_json = R"({"granulation":{"share":0.5},"slough":{"share":0.2},"necrotic":{"share":0.1},"pale":{"share":0.1},"unsure":{"share":0.05},"glare":{"share":0.05}})";
    book.add(row);
    return row;
  }
};

}  // namespace

TEST_CASE("a new book is empty, can be opened again, and refuses to be made over another") {
  TempFolder temp;
  const auto path = temp / "koi.uroko";
  Book::create(path);
  const auto book = Book::open(path);
  CHECK(book.fish().empty());
  CHECK(book.name() == "koi");
  CHECK_FALSE(book.read_only());
  try {
    Book::create(path);
    FAIL("made over");
  } catch (const Error& e) {
    CHECK(e.exit_code() == 4);
    CHECK(e.code() == "exists");
  }
  CHECK_THROWS_AS(Book::create(temp / "koi.db"), Error);
}

TEST_CASE("rows come back as they were stored, from another opening too") {
  OneWound one;
  Prescription written;
  written.fish = one.fish.id;
  written.written = day("2026-03-02");
  written.drug = "as the vet wrote";
  written.mg_per_kg = 10;
  written.mg_per_ml = 50;
  written.interval_hours = 48;
  written.doses = 3;
  written.route = "intramuscular";
  written.prescriber = "Dr V";
  one.book.add(written);
  const auto again = Book::open(one.book.folder(), Access::read);
  const auto fish = again.fish_named("A");
  REQUIRE(fish);
  CHECK(fish->variety == "Kohaku");
  CHECK(fish->length_mm == 520.0);
  CHECK(fish->place == "pond 1");
  const auto back = again.prescriptions(fish->id);
  REQUIRE(back.size() == 1);
  CHECK(back[0].mg_per_kg == 10.0);
  CHECK(back[0].doses == 3);
  CHECK_FALSE(back[0].wound);
  CHECK(back[0].written == day("2026-03-02"));
}

TEST_CASE("measures are revisions: a new one supersedes, none is overwritten") {
  OneWound one;
  const auto photo = one.photo_of("2026-03-02", "1");
  CHECK(one.measure(photo, 456.5).revision == 1);
  CHECK(one.measure(photo, 440.25).revision == 2);
  const auto all = one.book.measures(photo);
  REQUIRE(all.size() == 2);
  CHECK(all[0].area_mm2 == 456.5);
  CHECK(one.book.latest_measure(photo)->area_mm2 == 440.25);
  CHECK(all[1].photo_sha256 == std::string(63, '0') + "1");
  CHECK(one.book.unmeasured().empty());
}

TEST_CASE("a series holds a look a visit, the water and the care, in order of time") {
  OneWound one;
  one.measure(one.photo_of("2026-03-09", "2"), 400);
  const auto first = one.photo_of("2026-03-02", "1");
  one.measure(first, 456.5, 4);
  one.book.add(Event{0, one.fish.id, one.wound.id, day("2026-03-03"), "debridement", "", "careful", {}});
  one.book.add(WaterReading{0, "pond 1", day("2026-03-05"), 17.0, ""});
  one.book.add(WaterReading{0, "another", day("2026-03-05"), 7.0, ""});
  const auto series = one.book.series_of(one.wound.id);
  REQUIRE(series.looks.size() == 2);
  CHECK(series.looks[0].area_mm2 == 456.5);
  CHECK(series.looks[0].u_mm2 == 4);
  CHECK(series.looks[1].area_mm2 == 400);
  REQUIRE(series.looks[0].bed);
  CHECK((*series.looks[0].bed)[0] == 0.5);
  CHECK(series.water.size() == 3);
  REQUIRE(series.events.size() == 1);
  CHECK(series.events[0].kind == "debridement");
}

TEST_CASE("several photos of a look give their mean, no surer than one of them, before and after a debridement stay apart") {
  OneWound one;
  one.measure(one.photo_of("2026-03-02", "1"), 100, 3);
  one.measure(one.photo_of("2026-03-02", "2"), 110, 3);
  const auto mean = one.book.series_of(one.wound.id).looks;
  REQUIRE(mean.size() == 1);
  CHECK(mean[0].area_mm2 == 105);
  CHECK(mean[0].u_mm2 == Approx(5));  // spread: sd 7.071 / sqrt 2
  one.measure(one.photo_of("2026-03-09", "3", "before"), 90);
  one.measure(one.photo_of("2026-03-09", "4", "after"), 130);
  CHECK(one.book.series_of(one.wound.id).looks.size() == 3);
}

TEST_CASE("undo and redo go back and forth over a restart, without limit") {
  TempFolder temp;
  const auto path = temp / "koi.uroko";
  {
    auto book = Book::create(path);
    Fish fish{0, "A"};
    book.add(fish);
    for (int k = 1; k <= 50; ++k) {
      fish.note = std::to_string(k);
      book.update(fish);
    }
  }
  {
    auto book = Book::open(path);
    for (int k = 0; k < 20; ++k) CHECK(book.undo() == "Change fish A");
    CHECK(book.fish_named("A")->note == "30");
  }
  auto book = Book::open(path);
  CHECK(book.can_redo() == "Change fish A");
  for (int k = 0; k < 20; ++k) book.redo();
  CHECK(book.fish_named("A")->note == "50");
  CHECK_FALSE(book.can_redo());
  for (int k = 0; k < 50; ++k) book.undo();
  CHECK(book.fish_named("A")->note.empty());
  CHECK(book.undo() == "Add fish A");
  CHECK_FALSE(book.fish_named("A"));
  CHECK_THROWS_AS(book.undo(), Error);
  CHECK(book.trash_list().size() == 1);
  CHECK(book.redo() == "Add fish A");
  CHECK(book.fish_named("A"));
}

TEST_CASE("something new after an undo ends the redo, and the undone stays in the history") {
  OneWound one;
  one.book.undo();
  CHECK(one.book.can_redo() == "Add wound left flank");
  one.book.add(Fish{0, "B"});
  CHECK_FALSE(one.book.can_redo());
  const auto history = one.book.history();
  REQUIRE(history.size() == 3);
  CHECK(history[1].state == HistoryStep::State::abandoned);
}

TEST_CASE("a step is one undo, and nothing of it is kept when it is not committed") {
  OneWound one;
  {
    Book::Step step(one.book, "Two fish");
    one.book.add(Fish{0, "B"});
    one.book.add(Fish{0, "C"});
    step.commit();
  }
  CHECK(one.book.fish().size() == 3);
  CHECK(one.book.undo() == "Two fish");
  CHECK(one.book.fish().size() == 1);
  {
    Book::Step step(one.book, "Lost");
    one.book.add(Fish{0, "D"});
  }
  CHECK(one.book.fish().size() == 1);
  CHECK(one.book.can_undo() == "Add wound left flank");
}

TEST_CASE("what is put into the trash disappears from the lists and comes back whole") {
  OneWound one;
  const auto photo = one.photo_of("2026-03-02", "1");
  one.measure(photo, 100);
  one.book.trash<Fish>(one.fish.id);
  CHECK(one.book.fish().empty());
  CHECK(one.book.everything().empty());
  CHECK(one.book.glance().empty());
  const auto trash = one.book.trash_list();
  REQUIRE(trash.size() == 1);
  CHECK(trash[0].text == "fish A");
  one.book.restore(trash[0]);
  REQUIRE(one.book.everything().size() == 1);
  CHECK(one.book.everything()[0].wounds[0].visits[0].area_mm2->value == 100);
  // A name taken meanwhile is said, not broken by the index.
  one.book.trash<Fish>(one.fish.id);
  one.book.add(Fish{0, "A"});
  CHECK_THROWS_AS(one.book.restore<Fish>(one.fish.id), Error);
}

TEST_CASE("the first screen shows each wound once with its last visit and area") {
  OneWound one;
  one.measure(one.photo_of("2026-03-02", "1"), 100);
  one.measure(one.photo_of("2026-03-09", "2"), 80);
  one.photo_of("2026-03-16", "3");
  const auto glance = one.book.glance();
  REQUIRE(glance.size() == 1);
  CHECK(glance[0].visits == 3);
  CHECK(glance[0].unmeasured == 1);
  CHECK(glance[0].last_visit == day("2026-03-16"));
  CHECK(glance[0].last_area_mm2 == 80.0);
}

TEST_CASE("values that cannot be are refused with one clear line and nothing is stored") {
  OneWound one;
  const auto steps = one.book.history().size();
  CHECK_THROWS_AS(one.book.add(Fish{0, " "}), Error);
  CHECK_THROWS_AS(one.book.add(Fish{0, "A"}), Error);
  CHECK_THROWS_AS(one.book.add(Weight{0, one.fish.id, day("2026-03-02"), -5, "weighed", ""}), Error);
  CHECK_THROWS_AS(one.book.add(Event{0, one.fish.id, {}, day("2026-03-02"), "debridment", "", "", {}}), Error);
  CHECK_THROWS_AS(one.book.add(Finding{0, 1, "", "agent", "X", ""}), Error);
  CHECK_THROWS_AS(one.book.add(Weight{0, 999, day("2026-03-02"), 5, "weighed", ""}), Error);
  CHECK(one.book.history().size() == steps);
}

TEST_CASE("the weight for a dose is a weighed one") {
  OneWound one;
  one.book.add(Weight{0, one.fish.id, day("2026-03-02"), 1500, "weighed", ""});
  one.book.add(Weight{0, one.fish.id, day("2026-03-09"), 1900, "estimated", ""});
  CHECK(one.book.last_weighed(one.fish.id)->grams == 1500);
}

TEST_CASE("settings are kept and undone") {
  OneWound one;
  CHECK(one.book.setting("stale weight, days", 7) == 7);
  one.book.set_setting("stale weight, days", "10");
  one.book.set_setting("stale weight, days", "12");
  CHECK(one.book.setting("stale weight, days", 7) == 12);
  one.book.undo();
  CHECK(one.book.setting("stale weight, days", 7) == 10);
  one.book.undo();
  CHECK(one.book.setting("stale weight, days", 7) == 7);
  one.book.set_setting("stale weight, days", "3");
  CHECK(one.book.setting("stale weight, days", 7) == 3);
}

TEST_CASE("text that is not UTF-8 and strange letters are stored safely") {
  OneWound one;
  one.book.add(Fish{0, "\xE7\xB4\x85\xE7\x99\xBD '\"; DROP TABLE fish; --"});
  CHECK(one.book.fish_named("\xE7\xB4\x85\xE7\x99\xBD '\"; DROP TABLE fish; --"));
  Fish odd{0, "B"};
  odd.note = "\xFF\xFEok";
  one.book.add(odd);
  CHECK(one.book.find<Fish>(odd.id)->note == "\xEF\xBF\xBD\xEF\xBF\xBDok");
}

TEST_CASE("undo of a step that changed one row twice brings back what stood before the step, redo what stood after") {
  uroko::testing::TempFolder folder;
  auto book = casebook::Book::create(folder / "koi.uroko");
  casebook::Fish fish;
  fish.name = "A", fish.note = "first";
  book.add(fish);
  {
    casebook::Book::Step step(book, "Two notes");
    fish.note = "second";
    book.update(fish);
    fish.note = "third";
    book.update(fish);
    step.commit();
  }
  book.undo();
  CHECK(book.fish().at(0).note == "first");
  book.redo();
  CHECK(book.fish().at(0).note == "third");
}

TEST_CASE("undo over a history that somebody changed is refused as damaged, changes nothing and never names a column that is not ours") {
  uroko::testing::TempFolder folder;
  const auto path = folder / "koi.uroko";
  casebook::Fish fish;
  fish.name = "A", fish.note = "first", fish.length_mm = 520.0;
  {
    auto book = casebook::Book::create(path);
    book.add(fish);
    fish.note = "second", fish.length_mm = 530.0;
    book.update(fish);
  }
  const auto undone = [&](const std::string& kept) {
    {
      casebook::Database database(path / "book.sqlite", casebook::Database::Mode::write);
      database.begin();
      database.run("UPDATE change SET columns_before = :kept WHERE columns_before IS NOT NULL", {kept});
      database.commit();
    }
    auto book = casebook::Book::open(path);
    std::string code = "done";
    try {
      book.undo();
    } catch (const Error& e) {
      CHECK(e.fault() == Fault::book);
      code = e.code();
      CHECK(book.fish().at(0).note == "second");
      CHECK(book.fish().at(0).length_mm == 530.0);
      CHECK(book.can_undo());
    }
    return code;
  };
  for (const char* kept : {"", "{", "[]", "7", "null", "\"note\"", R"({"note":["a"]})", R"({"note":{"note":"a"}})", R"({"note":true})", R"({"note":7})", R"({"length_mm":"520"})",
                           R"({"note":"a","note":"b"})", R"({"id":7})", R"({"note = 'x' --":"a"})", R"({"note":"a"} {})", R"({"length_mm":1e999})"}) {
    INFO(kept);
    CHECK(undone(kept) == "damaged");
  }
  // A whole number stands for a length as well, and nothing for an empty cell.
  CHECK(undone(R"({"length_mm":520,"note":"first"})") == "done");
  auto book = casebook::Book::open(path);
  CHECK(book.fish().at(0).length_mm == 520.0);
  book.redo();
  CHECK(undone(R"({"length_mm":null})") == "done");
  CHECK_FALSE(casebook::Book::open(path).fish().at(0).length_mm);
}

TEST_CASE("a name that is no UTF-8 is found again under what was kept of it") {
  TempFolder temp;
  auto book = Book::create(temp / "koi.uroko");
  Fish fish;
  fish.name = "Shir\xF4";  // Latin-1
  book.add(fish);
  const auto found = book.fish_named("Shir\xF4");
  REQUIRE(found);
  Wound wound;
  wound.fish = found->id;
  wound.name = "le\xA4 flank";
  book.add(wound);
  CHECK(book.wound_named(found->id, "le\xA4 flank"));
}
