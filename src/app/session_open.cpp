// Opening, making and closing a case book. A worker opens it, checks it and reads what is shown first; until then the screen stays as it was.
#include <exception>

#include "app/book_access.h"
#include "app/unfinished.h"
#include "uroko/app/session.h"
#include "uroko/base/error.h"
#include "uroko/base/shared.h"

namespace uroko::app {

namespace fs = std::filesystem;
using casebook::Id;

/// What the worker brings: the book, its tree, and the fish that comes first with its measures.
struct Session::Opened {
  std::shared_ptr<BookAccess> access;
  BookModel model;
  std::vector<Warning> warnings;
  Id photo = 0, wound = 0;  ///< the unfinished trace's photo, or else the wound that was looked at last
};

void Session::open_argument(const fs::path& path) {
  if (path.extension() == ".uroko" || casebook::Book::is_book(path)) return open_book(path);
  if (settings.last_book.empty()) return drop_files({path});
  open(settings.last_book, {.if_there = true}, [this, path] { drop_files({path}); });
}

void Session::open_last() {
  if (settings.last_book.empty()) return;
  open(settings.last_book, {.if_there = true}, {});
}

void Session::open_book(const fs::path& path, const std::function<void()>& then) { open(path, {}, then); }

void Session::new_book(const fs::path& path) {
  auto p = path;
  if (p.extension() != ".uroko") p += ".uroko";
  open(p, {.make = true}, {});
}

void Session::open_sample() {
  const auto& sample = places.sample;
  const auto toured = [this] { first_tour(); };
  if (sample.empty() || sample != shared_path("sample.uroko")) return open(sample, {}, toured);
  // The installed one cannot be written: the first time it is copied to where case books stand, so that everything can be tried on it.
  open(default_book().parent_path() / "Sample case.uroko", {.sample = sample}, toured);
}

void Session::open(const fs::path& path, const HowToOpen& how, const std::function<void()>& then) {
  autosave();
  const auto number = ++opening_number_;
  opening = path;
  reading_.start("Opening " + path.stem().string(), [this, number, path, how, then, unfinished = unfinished_](const Token&) -> Jobs::Delivery {
    auto opened = std::make_shared<Opened>();
    std::exception_ptr error;
    try {
      const bool is_book = casebook::Book::is_book(path);
      if (how.if_there && !how.make && !is_book) return [this, number, then] { not_opened(number, nullptr, then); };
      if (how.make && !(how.if_there && is_book)) casebook::Book::create(path);
      if (!how.sample.empty() && !fs::exists(path)) {
        const auto whole = fs::path(path).replace_extension(".copying");
        fs::remove_all(whole);
        fs::copy(how.sample, whole, fs::copy_options::recursive);
        fs::rename(whole, path);
      }
      opened->access = std::make_shared<BookAccess>(casebook::Book::open(path));
      const auto& book = opened->access->reading;
      opened->warnings = book.warnings();
      opened->model = read_tree(opened->access->writing);
      Id first = 0;
      const bool traced = unfinished && unfinished->place.photo && unfinished->book == fs::absolute(opened->model.path);
      if (const auto* photo = traced ? opened->model.find_photo(unfinished->place.photo) : nullptr) {
        opened->photo = photo->row.id;
        first = opened->model.find_wound(photo->row.wound)->wound.fish;
      } else if (const auto glance = book.glance(); !glance.empty()) {  // the fish that was looked at last comes first
        first = glance.front().fish;
        opened->wound = glance.front().wound;
      }
      if (auto* fish = fish_in(opened->model, first)) read_fish(book, *fish);
    } catch (const fs::filesystem_error& e) {
      error = std::make_exception_ptr(Error(Fault::input, "not-copied", path, "the sample case could not be copied (" + e.code().message() + ")", "free some space or choose another home folder"));
    } catch (...) {
      error = std::current_exception();
    }
    return [this, number, opened, error, then] {
      if (number != opening_number_) return;  // another one was asked for meanwhile
      if (error) return not_opened(number, error, then);
      when_saved("Opening " + opened->access->folder.stem().string(), [this, opened, then] {
        show_book(std::move(*opened));
        if (then) then();
      });
    };
  }, true);
}

void Session::not_opened(std::uint64_t number, const std::exception_ptr& why, const std::function<void()>& then) {
  if (number != opening_number_) return;
  opening.reset();
  if (why) trouble("Opening the case book", why);
  if (then) then();
}

/// A worker takes the large book apart: that takes longer than a frame.
void Session::put_book_away() {
  reading_.start("Closing", [model = std::make_shared<BookModel>(std::move(book)), access = std::move(access_)](const Token&) mutable -> Jobs::Delivery {
    model.reset();
    access.reset();
    return {};
  }, false, true);
  book = {};
  access_.reset();
  ++book_version_;
}

/// What was typed of the records of a book that is no longer there.
void Session::close_record_forms() {
  log_form.reset();
  fish_form.reset();
  wound_form.reset();
  visit_form.reset();
}

void Session::show_book(Opened opened) {
  autosave();
  opening.reset();
  // What was traced before its book was made is taken in with its trace.
  const bool coming_in = import_form && import_form->making_book && desk && desk->traced_outside_book();
  if (!coming_in) desk.reset();
  put_book_away();
  access_ = std::move(opened.access);
  book = std::move(opened.model);
  fish = wound = visit = coming_wound_ = 0;
  ghost_.reset();
  thumbnails_.clear();
  compare_photos_.clear();
  skins_.clear();
  aligned_.clear();
  close_record_forms();
  path_form.reset();
  for (const auto& w : opened.warnings) tell(Notice::Kind::trouble, w.text);
  settings.remember_book(fs::absolute(book.path));
  save_settings_now();
  if (!coming_in) {
    step = Step::scale;
    if (opened.photo)
      show_photo(opened.photo);
    else if (opened.wound)
      select_wound(opened.wound);
  }
  recompute_course();
  read_the_rest();
}

void Session::close_book() {
  when_saved("Closing the case book", [this] {
    autosave();
    desk.reset();
    put_book_away();
    ++opening_number_;
    opening.reset();
    fish = wound = visit = coming_wound_ = 0;
    import_form.reset();
    close_record_forms();
    recompute_course();
    ghost_.reset();
    settings.last_book.clear();
    save_settings_now();
  });
}

}  // namespace uroko::app
