// A book with a row of every kind: what its check says of values that cannot be, how a bundle of it meets another book, what its trash is called,
// and which values are refused.
#include <sys/stat.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <fstream>
#include <set>

#include "casebook/database.h"
#include "casebook/made.h"
#include "support/temp_folder.h"
#include "uroko/base/file.h"
#include "uroko/casebook/keeping.h"
#include "uroko/photo/photo.h"

using namespace uroko;
using namespace uroko::casebook;
using uroko::casebook::testing::day;
using uroko::casebook::testing::small_photo;
using uroko::testing::TempFolder;
namespace fs = std::filesystem;

namespace {

/// One fish with one row of every kind.
struct Whole {
  Book book;
  Id fish = 0, wound = 0, visit = 0, photo = 0, measure = 0, prescription = 0, event = 0, swab = 0, finding = 0, weight = 0, water = 0;

  Whole(const TempFolder& temp, const std::string& name) : book(Book::create(temp / name)) {
    NewPhotos photos;
    photos.files = {small_photo(temp, name + ".jpg", 10)};
    photos.fish = "A", photos.wound = "left flank", photos.date = day("2026-03-02"), photos.weight_g = 2400;
    const auto added = book.add_photos(photos);
    photo = added.at(0).photo, visit = added.at(0).visit;
    auto patient = book.fish().at(0);
    fish = patient.id;
    patient.place = "pond 1";
    book.update(patient);
    wound = book.wounds(fish).at(0).id;
    weight = book.weights(fish).at(0).id;
    MeasureRow row;
    row.photo = photo, row.area_mm2 = 456.5, row.u_mm2 = 4, row.low95 = 448, row.high95 = 464, row.made = day("2026-03-02T10:00:00");
    row.margin_wkt = "POLYGON((1 1,20 1,20 20,1 1))", row.scale_json = "{}";
    measure = book.add(row);
    Prescription written;
    written.fish = fish, written.wound = wound, written.written = day("2026-03-02"), written.drug = "as prescribed", written.mg_per_kg = 10, written.interval_hours = 48, written.doses = 3;
    prescription = book.add(written);
    event = book.add(Event{0, fish, wound, day("2026-03-02"), "injection", "as prescribed", "", prescription});
    Swab taken;
    taken.fish = fish, taken.wound = wound, taken.taken = day("2026-03-02"), taken.laboratory = "laboratory";
    swab = book.add(taken);
    finding = book.add(Finding{0, swab, "as reported", "agent", "S", ""});
    water = book.add(WaterReading{0, "pond 1", day("2026-03-02"), 18.5, ""});
    set_owner_label(book, fish, "owner 7");
  }
};

std::set<std::string> codes_of(const std::vector<Warning>& warnings) {
  std::set<std::string> out;
  for (const auto& w : warnings) out.insert(w.code);
  return out;
}

std::string refusal(const std::function<void()>& what) {
  try {
    what();
  } catch (const Error& e) {
    return e.what();
  }
  return "";
}

}  // namespace

TEST_CASE("check says which measure holds a margin, details, a photo's hash or a number that cannot be") {
  TempFolder temp;
  const Whole whole(temp, "koi.uroko");
  REQUIRE(check(temp / "koi.uroko").ok());
  REQUIRE(check(temp / "koi.uroko").measures == 1);
  const auto with = [&](const std::string& change) {
    Database database(temp / "koi.uroko" / "book.sqlite", Database::Mode::write);
    database.script("PRAGMA ignore_check_constraints=ON;");
    database.script("UPDATE measure SET " + change);
    const auto report = check(temp / "koi.uroko");
    database.script("UPDATE measure SET margin_wkt = 'POLYGON((1 1,20 1,20 20,1 1))', scale_json = '{}', area_mm2 = 456.5, photo_sha256 = (SELECT sha256 FROM photo)");
    std::string texts;
    for (const auto& problem : report.problems) texts += problem.text + "\n";
    return texts;
  };
  const auto id = "measure " + std::to_string(whole.measure);
  CHECK_THAT(with("margin_wkt = 'POLYGON((1 1'"), Catch::Contains(id + " holds a margin that cannot be read"));
  CHECK_THAT(with("scale_json = '{'"), Catch::Contains(id + " holds details that are not JSON"));
  CHECK_THAT(with("photo_sha256 = 'other'"), Catch::Contains(id + " was made on another photo than its row names"));
  CHECK_THAT(with("area_mm2 = -1"), Catch::Contains("CHECK constraint failed in measure"));  // SQLite's own check, at opening
  CHECK(check(temp / "koi.uroko").ok());
}

TEST_CASE("check names a date that is none, a row that points nowhere and a photo without a proper hash") {
  TempFolder temp;
  const Whole whole(temp, "koi.uroko");
  const auto with = [&](const std::string& change, const std::string& back) {
    Database database(temp / "koi.uroko" / "book.sqlite", Database::Mode::write);
    database.script("PRAGMA foreign_keys=OFF; PRAGMA ignore_check_constraints=ON;");
    database.script(change);
    const auto codes = codes_of(check(temp / "koi.uroko").problems);
    database.script(back);
    return codes;
  };
  CHECK(with("UPDATE visit SET date = 'soon'", "UPDATE visit SET date = '2026-03-02'").contains("damaged"));
  CHECK(with("UPDATE event SET wound = 77", "UPDATE event SET wound = " + std::to_string(whole.wound)) == std::set<std::string>{"foreign-key"});
  const auto sha = whole.book.photos(whole.wound).at(0).sha256;
  const auto hash = with("UPDATE photo SET sha256 = '" + std::string(64, '/') + "'", "UPDATE photo SET sha256 = '" + sha + "'");
  CHECK(hash.contains("photo"));
  CHECK(check(temp / "koi.uroko").ok());
}

TEST_CASE("check notes what an interrupted import left and does not call it a fault") {
  TempFolder temp;
  const Whole whole(temp, "koi.uroko");
  const std::string bytes = "a sound file that no row names";
  const auto sha = sha256_hex(bytes);
  fs::create_directories(temp / "koi.uroko" / "originals" / sha.substr(0, 2));
  write_file_whole(temp / "koi.uroko" / "originals" / sha.substr(0, 2) / (sha + ".jpg"), bytes);
  fs::create_directories(temp / "koi.uroko" / "originals" / ".incoming-1");
  const auto report = check(temp / "koi.uroko");
  CHECK(report.ok());
  CHECK(codes_of(report.notes) == std::set<std::string>{"orphan", "leftover"});
}

TEST_CASE("check of a book that cannot be opened gives the reason as its one problem, of none at all an error") {
  TempFolder temp;
  { const Whole whole(temp, "koi.uroko"); }
  auto bytes = read_file(temp / "koi.uroko" / "book.sqlite");
  write_file_whole(temp / "koi.uroko" / "book.sqlite", bytes.substr(0, bytes.size() / 2));
  const auto report = check(temp / "koi.uroko");
  REQUIRE(report.problems.size() == 1);
  CHECK(report.problems[0].code == "damaged");
  CHECK_THROWS_AS(check(temp / "none.uroko"), Error);
}

TEST_CASE("a bundle with a row of every kind comes into a book that has the fish already: each row once, pointing to its own") {
  TempFolder temp;
  const Whole whole(temp, "koi.uroko");
  write_bundle(whole.book, temp / "bundle");
  auto other = Book::create(temp / "other.uroko");
  other.add(Fish{0, "B"});
  Fish known{0, "A"};
  other.add(known);
  const auto brought = import_bundle(other, temp / "bundle");
  CHECK(brought.fish == 0);
  CHECK(brought.wounds == 1);
  CHECK(brought.visits == 1);
  CHECK(brought.photos == 1);
  CHECK(brought.measures == 1);
  CHECK(brought.others == 6);  // prescription, event, weight, swab, finding, water
  CHECK(brought.known == 1);
  const auto wound = other.wound_named(known.id, "left flank");
  REQUIRE(wound);
  const auto prescriptions = other.prescriptions(known.id);
  const auto events = other.events(known.id);
  const auto swabs = other.swabs(known.id);
  REQUIRE((prescriptions.size() == 1 && events.size() == 1 && swabs.size() == 1));
  CHECK(prescriptions[0].wound == wound->id);
  CHECK(prescriptions[0].doses == 3);
  CHECK(events[0].prescription == prescriptions[0].id);
  CHECK(events[0].wound == wound->id);
  REQUIRE(other.findings(swabs[0].id).size() == 1);
  CHECK(other.findings(swabs[0].id)[0].letter == "S");
  CHECK(other.water("pond 1").size() == 1);
  CHECK(other.last_weighed(known.id)->grams == 2400);
  CHECK(check(other.folder()).ok());
  const auto again = import_bundle(other, temp / "bundle");
  CHECK(again.added() == 0);
  CHECK(again.known == 11);
  // A new fish brings its owner's label along, one that was there keeps its own.
  CHECK(owner_label(other, known.id).empty());
  auto fresh = Book::create(temp / "fresh.uroko");
  import_bundle(fresh, temp / "bundle");
  CHECK(owner_label(fresh, fresh.fish().at(0).id) == "owner 7");
}

TEST_CASE("a backup is refused in words: a name that is no case book's, a folder that is not there, a photo that is missing") {
  TempFolder temp;
  Whole whole(temp, "koi.uroko");
  write_bundle(whole.book, temp / "backup");
  CHECK_THAT(refusal([&] { restore_bundle(temp / "backup", temp / "koi"); }), Catch::Contains(".uroko"));
  CHECK_THAT(refusal([&] { restore_bundle(temp / "backup", temp / "none" / "koi.uroko"); }), Catch::Contains("no such folder"));
  CHECK_THAT(refusal([&] { write_bundle(whole.book, temp / "none" / "backup"); }), Catch::Contains("no such folder"));
  CHECK_THAT(refusal([&] { restore_bundle(temp / "none", temp / "new.uroko"); }), Catch::Contains("none"));
  auto reading = Book::open(temp / "koi.uroko", Access::read);
  CHECK_THAT(refusal([&] { import_bundle(reading, temp / "backup"); }), Catch::Contains("read-only"));
  const auto file = whole.book.photo_file(whole.book.photos(whole.wound).at(0).sha256);
  fs::remove(file);
  CHECK_THAT(refusal([&] { write_bundle(whole.book, temp / "second"); }), Catch::Contains("a photo of the book is missing"));
  CHECK_FALSE(fs::exists(temp / "second"));
  CHECK_FALSE(fs::exists(temp / "new.uroko"));
}

TEST_CASE("every kind of row can be put in the trash, is named there in words, and comes back from the list") {
  TempFolder temp;
  Whole whole(temp, "koi.uroko");
  auto& book = whole.book;
  const auto table = to_csv(book);
  book.trash<Finding>(whole.finding);
  book.trash<Swab>(whole.swab);
  book.trash<Event>(whole.event);
  book.trash<Prescription>(whole.prescription);
  book.trash<Weight>(whole.weight);
  book.trash<WaterReading>(whole.water);
  book.trash<MeasureRow>(whole.measure);
  book.trash<PhotoRow>(whole.photo);
  book.trash<Visit>(whole.visit);
  book.trash<Wound>(whole.wound);
  std::set<std::string> texts;
  const auto items = book.trash_list();
  for (const auto& item : items) texts.insert(item.text);
  CHECK(texts == std::set<std::string>{"laboratory line agent", "swab of 2026-03-02", "injection of 2026-03-02", "prescription of as prescribed", "weight of 2400 g", "water of 18.5 °C",
                                       "measure of 456.5 mm2", "photo koi.uroko.jpg", "visit of 2026-03-02", "wound left flank"});
  CHECK(book.weights(whole.fish).empty());
  CHECK(book.water("pond 1").empty());
  for (const auto& item : items) book.restore(item);
  CHECK(book.trash_list().empty());
  CHECK(to_csv(book) == table);
  CHECK_THROWS_AS(book.restore(TrashItem{"fishes", 1, "", {}}), Error);
}

TEST_CASE("a value that cannot be is refused with the number, its bounds and what to do, and nothing is stored") {
  TempFolder temp;
  Whole whole(temp, "koi.uroko");
  auto& book = whole.book;
  const auto steps = book.history().size();
  const auto said = [&](auto row) { return refusal([&] { book.add(row); }); };
  CHECK_THAT(said(Fish{0, "B", "", 5000.0}), Catch::Contains("5000") && Catch::Contains("1 and 2000"));
  Wound wound{0, whole.fish};
  CHECK_THAT(said(wound), Catch::Contains("the name of the wound is empty"));
  wound.name = "tail", wound.outline_x = 1.5;
  CHECK_THAT(said(wound), Catch::Contains("along the outline"));
  Visit visit{0, whole.fish, day("2026-03-03")};
  visit.water_c = 180;
  CHECK_THAT(said(visit), Catch::Contains("180") && Catch::Contains("-3 and 45"));
  auto photo = book.photos(whole.wound).at(0);
  photo.id = 0, photo.moment = "during";
  CHECK_THAT(said(photo), Catch::Contains("before nor after"));
  photo.moment = "", photo.extension = "jpg/";
  CHECK_THAT(said(photo), Catch::Contains("extension"));
  photo.extension = ".jpg", photo.sha256 = "abc";
  CHECK_THAT(said(photo), Catch::Contains("SHA-256"));
  auto measure = book.measures(whole.photo).at(0);
  measure.id = 0, measure.perimeter_mm = std::numeric_limits<double>::infinity();
  CHECK_THAT(said(measure), Catch::Contains("not finite"));
  measure.perimeter_mm = 1, measure.high95 = std::numeric_limits<double>::quiet_NaN();
  CHECK_THAT(said(measure), Catch::Contains("interval"));
  CHECK_THAT(said(WaterReading{0, " ", day("2026-03-03"), 18, ""}), Catch::Contains("pond or tank"));
  CHECK_THAT(said(WaterReading{0, "pond 1", day("2026-03-03"), 64, ""}), Catch::Contains("64"));
  Swab swab{0, whole.fish};
  swab.temperature_c = 250;
  CHECK_THAT(said(swab), Catch::Contains("incubation"));
  Prescription written;
  written.fish = whole.fish, written.written = day("2026-03-03");
  CHECK_THAT(said(written), Catch::Contains("without the drug's name"));
  written.drug = "as prescribed", written.mg_per_kg = 0;
  CHECK_THAT(said(written), Catch::Contains("mg/kg must be above 0"));
  written.mg_per_kg = 10, written.doses = 0;
  CHECK_THAT(said(written), Catch::Contains("number of doses"));
  CHECK(book.history().size() == steps);
}
