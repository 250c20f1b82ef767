// Files and folders that come and go: typed paths, dropped photos, the watched folder, the card and the report, and what is kept between two starts.
#include <fstream>

#include "app/on_the_desk.h"
#include "support/environment.h"

using namespace uroko;
using namespace uroko::app;
using namespace uroko::testing;
namespace fs = std::filesystem;
using Purpose = PathForm::Purpose;

namespace {

/// The form as it stands where no dialog comes.
void asked(Session& s, Purpose purpose) {
  s.ask_path(purpose);
  REQUIRE(s.settle());
  REQUIRE(s.path_form);
  REQUIRE_FALSE(s.path_form->asking);
}

}  // namespace

TEST_CASE("a typed path that is empty, missing or no folder is told at its field, and one that begins with ~ is found in the home folder") {
  OnTheDesk c;
  auto variables = Environment::no_dialogs();
  variables["HOME"] = c.folder.path().string();
  const Environment none(variables);
  Session s(c.places);
  for (const auto purpose : {Purpose::photos, Purpose::open_book, Purpose::lens}) {
    asked(s, purpose);
    for (const auto& [typed, says] : {std::pair{"  ", "Type a path"}, std::pair{"/no/such/thing", "/no/such/thing is not there. Check the spelling."}}) {
      s.path_chosen(typed);
      REQUIRE(s.path_form);
      CHECK(s.path_form->fault.text.find(says) != std::string::npos);
      CHECK(s.path_form->fault.at == "path.text");
    }
    s.escape();
  }
  asked(s, Purpose::watch);
  s.path_chosen(c.folder / "a.png");
  REQUIRE(s.path_form);
  CHECK(s.path_form->fault.text == (c.folder / "a.png").string() + " is not a folder.");
  s.escape();
  asked(s, Purpose::open_book);
  s.path_form->text = "~/koi.uroko";
  s.confirm_form();  // as Enter does
  REQUIRE(s.settle());
  CHECK_FALSE(s.path_form);
  CHECK(s.book.path == c.koi);
  asked(s, Purpose::photos);
  s.path_chosen("~/a.png");
  REQUIRE(s.settle());
  REQUIRE(s.import_form);
  CHECK(s.import_form->items.at(0).file == c.folder / "a.png");
}

TEST_CASE("the card and the report are written where they were asked for, and where that cannot be, it is said with what to do") {
  OnTheDesk c;
  const Environment none(Environment::no_dialogs());
  Session s(c.places);
  open_and_trace(s, c.koi);
  s.accept();
  REQUIRE(s.settle());
  asked(s, Purpose::card);
  s.path_chosen(c.folder / "card.pdf");
  REQUIRE(s.settle());
  CHECK(read_file(c.folder / "card.pdf").substr(0, 5) == "%PDF-");
  CHECK(told(s, (c.folder / "card.pdf").string()));
  for (const auto purpose : {Purpose::card, Purpose::report}) {
    s.notices.clear();
    asked(s, purpose);
    s.path_chosen(c.folder / "a.png" / "out.pdf");  // below a file
    REQUIRE(s.settle());
    CHECK_FALSE(s.path_form);
    REQUIRE(s.notices.size() == 1);
    CHECK(s.notices[0].kind == Notice::Kind::trouble);
    CHECK(s.notices[0].text.find("out.pdf") != std::string::npos);
    CHECK_FALSE(s.notices[0].advice.empty());
  }
  asked(s, Purpose::report);
  s.path_chosen(c.folder / "out.pdf");
  REQUIRE(s.settle());
  CHECK(read_file(c.folder / "out.pdf").substr(0, 5) == "%PDF-");
}

TEST_CASE("the watched folder brings up what comes into it, once it is whole, and stops when it is taken back") {
  OnTheDesk c;
  const Environment none(Environment::no_dialogs());
  const auto camera = c.folder / "camera";
  fs::create_directory(camera);
  const auto whole = read_file(c.folder / "a.png");
  write_file_whole(camera / "old.png", whole);
  Session s(c.places);
  const auto look = [&] {
    s.watch(true);
    REQUIRE(s.settle());
    return s.import_form ? s.import_form->items.size() : 0;
  };
  CHECK(look() == 0);  // nothing is watched
  asked(s, Purpose::watch);
  s.path_chosen(camera);
  CHECK(look() == 0);
  write_file_whole(camera / "NEW.PNG", whole.substr(0, 100));
  write_file_whole(camera / "notes.txt", "no photo");
  write_file_whole(camera / "empty.jpg", "");
  fs::create_directory(camera / "folder.jpg");
  CHECK(look() == 0);
  write_file_whole(camera / "NEW.PNG", whole);  // has grown
  CHECK(look() == 0);
  REQUIRE(look() == 1);
  CHECK(s.import_form->items[0].file == camera / "NEW.PNG");
  CHECK(look() == 1);
  s.watch();  // not at once: the last look was just now
  CHECK(s.idle());
  s.escape();
  CHECK_FALSE(s.import_form);
  // A camera that is unplugged and plugged in again brings only what is new on it.
  fs::rename(camera, c.folder / "away");
  CHECK(look() == 0);
  write_file_whole(c.folder / "away" / "later.heif", whole);
  fs::rename(c.folder / "away", camera);
  CHECK(look() == 0);
  REQUIRE(look() == 1);
  CHECK(s.import_form->items[0].file.filename() == "later.heif");
  s.escape();
  SECTION("taken back") {
    asked(s, Purpose::watch);
    CHECK(s.path_form->text == camera.string());
    s.path_chosen("");
    CHECK_FALSE(s.path_form);
    CHECK(s.settings.watched_folder.empty());
    write_file_whole(camera / "after.png", whole);
    CHECK(look() == 0);
    CHECK(look() == 0);
    CHECK(load_settings(c.places.settings).watched_folder.empty());
  }
  SECTION("another folder is watched before the look at the first one is back") {
    fs::create_directory(c.folder / "other");
    write_file_whole(camera / "after.png", whole);
    CHECK(look() == 0);
    s.path_form.emplace();
    s.path_form->purpose = Purpose::watch;
    s.watch(true);
    s.path_chosen(c.folder / "other");
    REQUIRE(s.settle());
    CHECK(look() == 0);
  }
  SECTION("what comes while a path is typed leaves that form as it is and waits behind it") {
    asked(s, Purpose::card);
    s.path_form->text = "/half/typ";
    write_file_whole(camera / "after.png", whole);
    CHECK(look() == 0);
    CHECK(look() == 1);
    REQUIRE(s.path_form);
    CHECK(s.path_form->text == "/half/typ");
    s.escape();
    CHECK_FALSE(s.path_form);
    CHECK(s.import_form);
  }
  SECTION("at the next start what lies there is not new") {
    Session again(c.places);
    CHECK(again.settings.watched_folder == camera);
    for (int i = 0; i < 3; ++i) {
      again.watch(true);
      REQUIRE(again.settle());
    }
    CHECK_FALSE(again.import_form);
  }
}

TEST_CASE("a folder that is not there yet at the start is watched from when it comes, and what it brings with it is not new") {
  OnTheDesk c;
  Session s(c.places);
  s.settings.watched_folder = c.folder / "card reader";
  const auto look = [&] {
    s.watch(true);
    REQUIRE(s.settle());
    return s.import_form ? s.import_form->items.size() : 0;
  };
  CHECK(look() == 0);
  fs::create_directory(c.folder / "card reader");
  fs::copy_file(c.folder / "a.png", c.folder / "card reader" / "old.png");
  CHECK(look() == 0);
  CHECK(look() == 0);
  fs::copy_file(c.folder / "a.png", c.folder / "card reader" / "new.png");
  CHECK(look() == 0);
  REQUIRE(look() == 1);
  CHECK(s.import_form->items[0].file.filename() == "new.png");
}

TEST_CASE("dropped folders and files come up by name, each once, and what is no photo is said to be none") {
  OnTheDesk c;
  const auto drop = c.folder / "drop";
  fs::create_directory(drop);
  for (const char* name : {"b.PNG", "a.png", "notes.txt"}) fs::copy_file(c.folder / "a.png", drop / name);
  Session s(c.places);
  SECTION("a folder, and a file of it again") {
    s.drop_files({drop, drop / "a.png"});
    REQUIRE(s.settle());
    REQUIRE(s.import_form);
    REQUIRE(s.import_form->items.size() == 2);
    CHECK(s.import_form->items[0].file == drop / "a.png");
    CHECK(s.import_form->items[1].file == drop / "b.PNG");
    CHECK(s.desk->file == drop / "a.png");
    CHECK(s.settings.last_folder == drop);
    // Taken in: the same picture twice is in the book once, and the second one says where.
    s.import_form->book = (c.folder / "drop.uroko").string();
    s.import_form->fish = " Ume ", s.import_form->wound = "back", s.import_form->water = "18,5", s.import_form->weight = "900";
    for (auto& item : s.import_form->items) item.date = "2026-03-05";
    s.confirm_import();
    REQUIRE(s.settle());
    CHECK_FALSE(s.import_form);
    CHECK(told(s, "b.PNG is in the book already, under Ume, back."));
    const auto book = casebook::Book::open(c.folder / "drop.uroko", casebook::Access::read);
    CHECK(book.all<casebook::PhotoRow>().size() == 1);
    CHECK(book.all<casebook::Weight>().at(0).grams == 900);
    CHECK(book.all<casebook::Visit>().at(0).water_c == 18.5);
    CHECK(s.current_fish()->fish.name == "Ume");
  }
  SECTION("a folder without a photo") {
    fs::create_directory(c.folder / "empty");
    s.drop_files({c.folder / "empty"});
    CHECK_FALSE(s.import_form);
    CHECK(told(s, "There is no photo in what was dropped."));
  }
  SECTION("a case book") {
    s.drop_files({c.koi});
    REQUIRE(s.settle());
    CHECK(s.book.path == c.koi);
    CHECK_FALSE(s.import_form);
  }
  SECTION("on a book that cannot be written") {
    s.open_book(c.koi);
    REQUIRE(s.settle());
    s.book.read_only = true;
    s.drop_files({drop});
    CHECK_FALSE(s.import_form);
    CHECK(told(s, "open for reading only"));
  }
  SECTION("from the command line: a photo beside the last book, or that book having gone") {
    s.settings.last_book = c.koi;
    s.open_argument(drop / "a.png");
    REQUIRE(s.settle());
    CHECK(s.book.path == c.koi);
    REQUIRE(s.import_form);
    CHECK(s.import_form->fish == "A");  // of the wound that is shown
    Session other(Places{c.folder / "s2.json", c.folder / "u2.json", {}});
    other.settings.last_book = c.folder / "gone.uroko";
    other.open_argument(drop / "a.png");
    REQUIRE(other.settle());
    CHECK_FALSE(other.has_book());
    CHECK(other.import_form);
    CHECK(other.notices.empty());
    other.open_argument(c.koi);
    REQUIRE(other.settle());
    CHECK(other.book.path == c.koi);
  }
}

TEST_CASE("what is asked before photos are taken in: fish, wound, a date for each, sensible numbers, and where the book is to be") {
  OnTheDesk c;
  Session s(c.places);
  s.drop_files({c.folder / "a.png"});
  REQUIRE(s.settle());
  REQUIRE(s.import_form);
  auto& f = *s.import_form;
  const auto wrong = [&](const std::string& at) {
    s.confirm_import();
    REQUIRE(s.import_form);
    CHECK(s.import_form->fault.at == at);
    CHECK_FALSE(s.import_form->fault.empty());
    CHECK_FALSE(s.has_book());
  };
  f.fish.clear(), f.wound.clear(), f.items[0].date = "19.3.26";
  wrong("import.fish.name");
  f.fish = "Ume";
  wrong("import.wound.name");
  f.wound = "back";
  f.water = "99";
  wrong("import.water");
  f.water = "";
  f.weight = "-1";
  wrong("import.weight");
  f.weight = "";
  wrong("import.date.0");
  f.items[0].date = "19.3.2026";
  f.book = " ";
  wrong("import.book");
  f.book = (c.folder / "a.png" / "x").string();  // below a file: cannot be made
  s.confirm_import();
  REQUIRE(s.settle());
  REQUIRE(s.import_form);
  CHECK_FALSE(s.import_form->making_book);
  CHECK_FALSE(s.has_book());
  CHECK_FALSE(s.notices.empty());
  f.book = (c.folder / "new").string();
  s.confirm_form();
  REQUIRE(s.settle());
  CHECK_FALSE(s.import_form);
  CHECK(s.book.path == c.folder / "new.uroko");
  CHECK(s.current_wound()->visits.at(0).visit.date.iso_date() == "2026-03-19");
}

TEST_CASE("a photo whose file went between dropping and taking in is told, the others come in") {
  OnTheDesk c;
  fs::copy_file(c.folder / "a.png", c.folder / "gone.png");
  write_file_whole(c.folder / "other.png", read_file(c.folder / "a.png"));
  Session s(c.places);
  s.drop_files({c.folder / "gone.png", c.folder / "other.png"});
  REQUIRE(s.settle());
  fs::remove(c.folder / "gone.png");
  s.import_form->fish = "Ume", s.import_form->wound = "back", s.import_form->book = (c.folder / "new.uroko").string();
  for (auto& item : s.import_form->items) item.date = "2026-03-05";
  s.confirm_import();
  REQUIRE(s.settle());
  CHECK(told(s, "gone.png"));
  CHECK(casebook::Book::open(c.folder / "new.uroko", casebook::Access::read).all<casebook::PhotoRow>().size() == 1);
  REQUIRE(s.desk);
  CHECK(s.desk->place.photo != 0);
}

TEST_CASE("settings and trace that cannot be kept are told and do not keep the window from working or from closing") {
  OnTheDesk c;
  c.places.settings = c.folder / "a.png" / "settings.json";  // below a file
  c.places.unfinished = c.folder / "a.png" / "unfinished.json";
  {
    Session s(c.places);
    open_and_trace(s, c.koi);
    CHECK(told(s, "home folder"));
    s.run("window.theme");
    REQUIRE(s.settle());
    CHECK(s.settings.theme == Theme::dark);
    s.accept();
    REQUIRE(s.settle());
    CHECK_FALSE(s.desk->unsaved());
  }
  CHECK(casebook::Book::open(c.koi, casebook::Access::read).all<casebook::MeasureRow>().size() == 1);
}

TEST_CASE("a margin whose saving was not heard of before the end is known as saved at the next start") {
  OnTheDesk c;
  {
    Session s(c.places);
    open_and_trace(s, c.koi);
  }
  const auto before = read_file(c.places.unfinished);
  ImageOutline accepted;
  {
    Session s(c.places);
    s.open_book(c.koi);
    REQUIRE(s.settle());
    REQUIRE(s.desk->unsaved());
    accepted = s.desk->history.now().outline();
    s.accept();
    REQUIRE(s.settle());
  }
  write_file_whole(c.places.unfinished, before);  // the program was ended before it could keep that the book holds it
  Session s(c.places);
  s.open_book(c.koi);
  REQUIRE(s.settle());
  REQUIRE(s.desk);
  CHECK(dice(s.desk->history.now().outline(), accepted) > 0.9999);
  CHECK_FALSE(s.desk->unsaved());
}

TEST_CASE("a photo that was traced before it is taken in stays on the desk with its trace, and is accepted from there") {
  OnTheDesk c;
  Session s(c.places);
  s.open_book(c.koi);
  REQUIRE(s.settle());
  const std::vector<fs::path> files = {c.folder / "x.png", c.folder / "y.png"};
  write_patch(files[0], 180, 211);
  write_patch(files[1], 180, 212);
  s.drop_files(files);
  REQUIRE(s.settle());
  REQUIRE(s.import_form);
  for (auto& item : s.import_form->items) item.date = "2026-03-09";
  s.open_photo(files[0]);
  REQUIRE(s.settle());
  trace(s);
  const auto outline = s.desk->history.now().outline();
  const double area_mm2 = s.desk->measurement->area_mm2.value;
  s.accept();
  CHECK(told(s, "not in the case book yet"));
  s.confirm_import();
  REQUIRE(s.settle());
  CHECK_FALSE(s.import_form);
  CHECK_FALSE(told(s, "not in the case book yet"));
  REQUIRE(s.desk);
  CHECK(s.desk->place.photo != 0);
  CHECK(s.desk->file != files[0]);
  CHECK(s.desk->unsaved());
  CHECK(to_wkt(s.desk->history.now().outline(), 4) == to_wkt(outline, 4));
  s.accept();
  REQUIRE(s.settle());
  CHECK_FALSE(s.desk->unsaved());
  const auto rows = casebook::Book::open(c.koi, casebook::Access::read).all<casebook::MeasureRow>();
  REQUIRE(rows.size() == 1);
  CHECK(rows[0].photo == s.desk->place.photo);
  CHECK(rows[0].area_mm2 == Approx(area_mm2).epsilon(1e-6));
}

TEST_CASE("a photo that was traced before there was a case book is taken into the one that is made, with its trace") {
  OnTheDesk c;
  Session s(c.places);
  const auto file = c.folder / "x.png";
  write_patch(file, 180, 211);
  s.drop_files({file});
  REQUIRE(s.settle());
  REQUIRE(s.desk);
  REQUIRE(s.import_form);
  trace(s);
  const auto outline = to_wkt(s.desk->history.now().outline(), 4);
  auto& form = *s.import_form;
  form.fish = "Momo", form.wound = "left flank", form.book = (c.folder / "Pond").string();
  form.items[0].date = "2026-03-09";
  s.confirm_import();
  REQUIRE(s.settle());
  CHECK_FALSE(s.import_form);
  CHECK(s.has_book());
  REQUIRE(s.desk);
  CHECK(s.desk->place.photo != 0);
  CHECK(s.desk->unsaved());
  CHECK(to_wkt(s.desk->history.now().outline(), 4) == outline);
  CHECK(s.step == app::Step::margin);
  s.accept();
  REQUIRE(s.settle());
  CHECK(casebook::Book::open(c.folder / "Pond.uroko", casebook::Access::read).all<casebook::MeasureRow>().size() == 1);
}
