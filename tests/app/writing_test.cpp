// The writes into the case book (include/uroko/app/writes.h): while one waits, fails, or is followed by undo, closing or the end of the program.
#include <sys/resource.h>

#include <csignal>
#include <map>

#include "app/on_the_desk.h"
#include "casebook/database.h"

using namespace uroko;
using namespace uroko::app;
using uroko::testing::frames_until;
using uroko::testing::move_margin;
using uroko::testing::OnTheDesk;
using uroko::testing::trace;
namespace fs = std::filesystem;

namespace {

/// Another program that is writing into the book, for as long as this lives: ours must wait for it.
struct HeldByAnother {
  casebook::Database other;
  explicit HeldByAnother(const fs::path& book, bool readers_too = false) : other(book / "book.sqlite", casebook::Database::Mode::write) {
    if (readers_too)
      other.script("BEGIN EXCLUSIVE");
    else
      other.begin();
  }
  ~HeldByAnother() { other.rollback(); }
};

/// A book that was moved away, for as long as this lives.
struct Gone {
  fs::path book, elsewhere;
  explicit Gone(const fs::path& b) : book(b), elsewhere(b.string() + ".elsewhere") { fs::rename(book, elsewhere); }
  ~Gone() { fs::rename(elsewhere, book); }
};

void opened(Session& s, const OnTheDesk& c) {
  s.open_book(c.koi);
  REQUIRE(s.settle());
  REQUIRE(s.desk);
}

/// One margin is in the book, and the next one waits to be accepted.
void accepted_and_moved(Session& s, const OnTheDesk& c) {
  opened(s, c);
  trace(s);
  s.accept();
  REQUIRE(s.settle());
  move_margin(s);
}

std::size_t measures_in(const fs::path& book) { return casebook::Book::open(book, casebook::Access::read).all<casebook::MeasureRow>().size(); }

}  // namespace

TEST_CASE("while another program holds the book the window goes on: photos come up, forms open, the margin waits and is saved when the book is free") {
  OnTheDesk c(2);
  Session s(c.places);
  opened(s, c);
  trace(s);
  const auto late = s.visit;
  {
    const HeldByAnother other(c.koi);
    s.accept();
    REQUIRE(s.saving());
    CHECK(*s.saving() == "Saving the margin");
    CHECK(s.desk->saving());
    CHECK(s.desk->unsaved());
    s.accept();  // Enter again asks for nothing new
    CHECK(s.writes_waiting() == 1);
    s.step_visit(-1);
    CHECK(s.visit != late);
    CHECK(frames_until(s, [&] { return s.desk && s.desk->loaded_whole(); }));
    s.open_log();
    s.log_form->date = "2026-03-01";
    s.log_form->note = "loose scale";
    s.save_log();
    CHECK(s.log_form);  // stays until the book holds it
    CHECK(s.writes_waiting() == 2);
    CHECK(s.saving());
  }
  REQUIRE(s.settle());
  CHECK_FALSE(s.saving());
  CHECK_FALSE(s.log_form);
  CHECK(s.not_saved.empty());
  CHECK(measures_in(c.koi) == 1);
  CHECK(casebook::Book::open(c.koi, casebook::Access::read).all<casebook::Event>().size() == 1);
  CHECK(s.series().events.size() == 1);
  s.step_visit(1);
  REQUIRE(s.settle());
  CHECK(s.visit == late);
  CHECK_FALSE(s.desk->unsaved());  // the answer came when the other photo was on the desk
}

TEST_CASE("a margin that cannot be saved says so where it was accepted, its trace stays, and it goes in when the book is there again") {
  OnTheDesk c;
  Session s(c.places);
  opened(s, c);
  trace(s);
  {
    const Gone gone(c.koi);
    s.accept();
    REQUIRE(s.settle());
    REQUIRE(s.desk->save_refusal);
    CHECK_FALSE(s.desk->save_refusal->advice.empty());
    CHECK(s.desk->unsaved());
    CHECK_FALSE(s.desk->saving());
    CHECK(s.not_saved.empty());
    CHECK(s.has_book());
  }
  s.accept();
  REQUIRE(s.settle());
  CHECK_FALSE(s.desk->save_refusal);
  CHECK_FALSE(s.desk->unsaved());
  CHECK(measures_in(c.koi) == 1);
}

TEST_CASE("what cannot be saved after its place has gone is kept, named, and can be tried again or left out") {
  OnTheDesk c(2);
  Session s(c.places);
  opened(s, c);
  trace(s);
  const auto name = "the margin of " + s.current_wound()->visit(s.visit)->visit.date.iso_date();
  {
    const Gone gone(c.koi);
    s.accept();
    s.step_visit(-1);
    s.open_log();
    s.log_form->date = "2026-03-01";
    s.save_log();
    s.escape();  // the form is closed while its entry waits
    CHECK_FALSE(s.log_form);
    REQUIRE(s.settle());
  }
  REQUIRE(s.not_saved.size() == 2);
  CHECK(s.not_saved[0].text.find(name) != std::string::npos);
  CHECK(s.not_saved[1].text.find("care log") != std::string::npos);
  CHECK_FALSE(s.not_saved[0].advice.empty());
  SECTION("tried again") {
    s.try_again(0);
    REQUIRE(s.settle());
    s.try_again(0);
    REQUIRE(s.settle());
    CHECK(s.not_saved.empty());
    CHECK(measures_in(c.koi) == 1);
    CHECK(s.series().events.size() == 1);
  }
  SECTION("given up, each by itself") {
    s.leave();
    s.give_up(7);  // there is none
    CHECK(s.not_saved.size() == 2);
    s.give_up(0);
    REQUIRE(s.not_saved.size() == 1);
    CHECK(s.not_saved[0].text.find("care log") != std::string::npos);
    s.turn();
    CHECK_FALSE(s.quit);
    s.give_up(0);
    s.turn();
    CHECK(s.quit);
    CHECK(measures_in(c.koi) == 0);
  }
  SECTION("nothing closes over it unseen") {
    s.leave();
    s.turn();
    CHECK_FALSE(s.quit);
    REQUIRE(s.leaving());
    SECTION("left out") {
      s.leave_without_saving();
      s.turn();
      CHECK(s.quit);
      CHECK(measures_in(c.koi) == 0);
    }
    SECTION("tried again, then it quits by itself") {
      s.try_again(0);
      s.try_again(0);
      REQUIRE(s.settle());
      CHECK(s.quit);
      CHECK(measures_in(c.koi) == 1);
    }
    SECTION("stayed") {
      s.escape();
      CHECK_FALSE(s.leaving());
      s.turn();
      CHECK_FALSE(s.quit);
    }
  }
}

TEST_CASE("photos that the book could not take in come back in their form with what was typed, and go in when the book is there again") {
  OnTheDesk c;
  const auto file = c.folder / "new.png";
  cv::Mat picture(300, 400, CV_8UC3, cv::Scalar(90, 120, 150));
  write_file_whole(file, photo::encode_png(picture));
  Session s(c.places);
  opened(s, c);
  s.drop_files({file});
  REQUIRE(s.settle());
  REQUIRE(s.import_form);
  CHECK(s.import_form->fish == "A");  // as what is looked at
  s.import_form->wound = "tail";
  s.import_form->items.at(0).date = "2026-03-05";
  s.import_form->water = "17";
  {
    const Gone gone(c.koi);
    s.confirm_import();
    CHECK_FALSE(s.import_form);
    REQUIRE(s.settle());
    REQUIRE(s.import_form);
    CHECK_FALSE(s.import_form->fault.empty());
    CHECK(s.import_form->wound == "tail");
    CHECK(s.import_form->water == "17");
    CHECK(s.import_form->items.at(0).date == "2026-03-05");
    CHECK(s.not_saved.empty());
  }
  s.confirm_import();
  REQUIRE(s.settle());
  CHECK_FALSE(s.import_form);
  CHECK(s.current_wound()->wound.name == "tail");
  CHECK(s.current_wound()->visits.at(0).visit.water_c == 17);
}

TEST_CASE("a form that the book refuses stays with what was typed and says why") {
  OnTheDesk c;
  {
    auto book = casebook::Book::open(c.koi);
    book.add(casebook::Fish{0, "Botan"});
  }
  Session s(c.places);
  opened(s, c);
  s.open_fish();
  REQUIRE(s.fish_form);
  SECTION("a name that is taken") {
    s.fish_form->name = "Botan";
    s.save_fish();
    REQUIRE(s.settle());
    REQUIRE(s.fish_form);
    CHECK_FALSE(s.fish_form->fault.empty());
    CHECK(s.fish_form->name == "Botan");
    s.fish_form->name = "Ume";
    s.save_fish();
    REQUIRE(s.settle());
    CHECK_FALSE(s.fish_form);
    CHECK(s.current_fish()->fish.name == "Ume");
  }
  SECTION("a disk that takes no more, and then does (getrlimit(2), RLIMIT_FSIZE)") {
    struct rlimit was {};
    ::getrlimit(RLIMIT_FSIZE, &was);
    const auto handler = std::signal(SIGXFSZ, SIG_IGN);
    const struct rlimit none { 256, was.rlim_max };
    ::setrlimit(RLIMIT_FSIZE, &none);
    s.fish_form->name = "Ume";
    s.save_fish();
    const bool settled = s.settle();
    ::setrlimit(RLIMIT_FSIZE, &was);
    std::signal(SIGXFSZ, handler);
    REQUIRE(settled);
    REQUIRE(s.fish_form);
    CHECK_FALSE(s.fish_form->fault.empty());
    CHECK(s.current_fish()->fish.name == "A");  // the screen shows what the book holds
    s.save_fish();
    REQUIRE(s.settle());
    CHECK_FALSE(s.fish_form);
    CHECK(s.current_fish()->fish.name == "Ume");
  }
}

TEST_CASE("undo and redo right after accepting wait behind it and take back that step, not the one before") {
  OnTheDesk c;
  Session s(c.places);
  accepted_and_moved(s, c);
  const auto margin = s.desk->history.now().margin;
  {
    const HeldByAnother other(c.koi);
    s.accept();
    REQUIRE(s.undo_label());
    CHECK(s.undo_label()->find("the margin of") == 0);
    s.undo();
    CHECK(s.writes_waiting() == 2);
  }
  REQUIRE(s.settle());
  CHECK(measures_in(c.koi) == 1);
  CHECK(s.desk->unsaved());
  CHECK(s.desk->history.now().margin == margin);  // the trace stays on the desk
  {
    const HeldByAnother other(c.koi);
    s.redo();
    s.undo();
    s.redo();
  }
  REQUIRE(s.settle());
  CHECK(measures_in(c.koi) == 2);
  CHECK_FALSE(s.desk->unsaved());
}

TEST_CASE("undo after a margin that could not be saved takes nothing else back") {
  OnTheDesk c;
  Session s(c.places);
  accepted_and_moved(s, c);
  {
    const Gone gone(c.koi);
    s.accept();
    s.undo();
    REQUIRE(s.settle());
  }
  CHECK(s.desk->unsaved());
  CHECK(measures_in(c.koi) == 1);
  s.accept();
  REQUIRE(s.settle());
  CHECK(measures_in(c.koi) == 2);
}

TEST_CASE("closing the book, opening another and quitting wait for the last write, can be called off, and do not happen when it fails") {
  OnTheDesk c;
  c.make(c.folder / "other.uroko", 1, "B");
  Session s(c.places);
  opened(s, c);
  trace(s);
  const std::map<std::string, std::function<void()>> ways = {{"close", [&] { s.close_book(); }}, {"open", [&] { s.open_book(c.folder / "other.uroko"); }}, {"quit", [&] { s.leave(); }}};
  const auto done = [&](const std::string& way) { return way == "close" ? !s.has_book() : way == "open" ? s.book.path == c.folder / "other.uroko" : s.quit; };
  for (const auto& [way, ask] : ways)
    DYNAMIC_SECTION(way) {
      SECTION("it waits") {
        {
          const HeldByAnother other(c.koi);
          s.accept();
          ask();
          REQUIRE(frames_until(s, [&] { return s.leaving() != nullptr; }));
          CHECK_FALSE(done(way));
          CHECK(s.book.path == c.koi);
        }
        REQUIRE(s.settle());
        CHECK(done(way));
        CHECK(measures_in(c.koi) == 1);
      }
      SECTION("it is called off") {
        {
          const HeldByAnother other(c.koi);
          s.accept();
          ask();
          REQUIRE(frames_until(s, [&] { return s.leaving() != nullptr; }));
          s.stay();
        }
        REQUIRE(s.settle());
        CHECK_FALSE(done(way));
        CHECK_FALSE(s.opening);
        CHECK(s.book.path == c.koi);
        CHECK_FALSE(s.desk->unsaved());
      }
      SECTION("the write fails") {
        const Gone gone(c.koi);
        s.accept();
        ask();
        REQUIRE(s.settle());
        CHECK_FALSE(done(way));
        CHECK(s.book.path == c.koi);
        CHECK(s.desk->unsaved());
        // Told where it was accepted; where the other book is already on its way, asked about before that comes.
        CHECK((s.desk->save_refusal.has_value() != (s.not_saved.size() == 1 && s.leaving())));
      }
    }
}

TEST_CASE("a session that ends at once after accepting has saved it") {
  OnTheDesk c;
  {
    Session s(c.places);
    opened(s, c);
    trace(s);
    s.accept();
    s.open_log();
    s.log_form->date = "2026-03-01";
    s.save_log();
  }
  CHECK(measures_in(c.koi) == 1);
  CHECK(casebook::Book::open(c.koi, casebook::Access::read).all<casebook::Event>().size() == 1);
}

TEST_CASE("while a book is being opened the one before stays on the screen, and of two that are asked for the last one comes") {
  OnTheDesk c(2);
  const auto second = c.folder / "second.uroko", third = c.folder / "third.uroko";
  c.make(second, 1, "B");
  c.make(third, 1, "C");
  Session s(c.places);
  s.open_book(c.koi);
  CHECK_FALSE(s.has_book());
  REQUIRE(s.opening);
  CHECK(*s.opening == c.koi);
  REQUIRE(s.settle());
  {
    const HeldByAnother other(second, true);
    s.open_book(second);
    s.turn();
    CHECK(s.opening);
    CHECK(s.book.path == c.koi);
    s.step_visit(-1);  // and is looked through: its photos do not wait for the other book
    CHECK(frames_until(s, [&] { return s.desk && s.desk->loaded_whole(); }));
    CHECK(s.opening);
    s.open_book(third);
  }
  REQUIRE(s.settle());
  CHECK_FALSE(s.opening);
  CHECK(s.book.path == third);
  CHECK(s.current_fish()->fish.name == "C");
  s.open_book(c.folder / "none.uroko");
  REQUIRE(s.settle());
  CHECK_FALSE(s.opening);
  CHECK(s.book.path == third);  // it stays
  REQUIRE_FALSE(s.notices.empty());
  CHECK_FALSE(s.notices.back().advice.empty());
}
