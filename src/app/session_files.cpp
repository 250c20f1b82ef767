// Paths and files: dialogs, the card, the watched folder, the unfinished trace.
#include <algorithm>
#include <array>
#include <atomic>
#include <chrono>
#include <cmath>
#include <exception>
#include <limits>
#include <nlohmann/json.hpp>
#include <utility>

#include "app/book_access.h"
#include "app/kept_file.h"
#include "app/kept_json.h"
#include "app/photo_files.h"
#include "app/unfinished.h"
#include "uroko/app/file_dialog.h"
#include "uroko/app/session.h"
#include "uroko/base/error.h"
#include "uroko/base/file.h"
#include "uroko/base/json.h"
#include "uroko/base/shared.h"
#include "uroko/base/text.h"
#include "uroko/report/card_print.h"

namespace uroko::app {

namespace fs = std::filesystem;
using Purpose = PathForm::Purpose;

fs::path sample_book() {
  // What a package installs, then what scripts/demo builds.
  if (auto installed = shared_path("sample.uroko"); !installed.empty()) return installed;
  std::error_code ignored;
  const auto source = shared_path("packaging");  // assets/packaging of a checkout
  const auto built = source.empty() ? fs::path() : source.parent_path().parent_path() / "build" / "demo" / "sample.uroko";
  return fs::exists(built, ignored) ? built : fs::path();
}

namespace {

/// A fish's name in a file's: "3/24" lies in no folder called 3.
std::string file_name(std::string words) {
  std::replace_if(words.begin(), words.end(), [](char c) { return c == '/' || static_cast<unsigned char>(c) < ' '; }, '-');
  return words;
}

}  // namespace

void Session::ask_path(Purpose purpose) {
  path_form.emplace();
  path_form->purpose = purpose;
  const fs::path folder = !settings.last_folder.empty() ? settings.last_folder : default_book().parent_path();
  FileQuestion q;
  q.start = folder;
  switch (purpose) {
    case Purpose::photos:
      q.title = "Add photos";
      q.many = true;
      q.pattern_name = "Photos";
      q.patterns = {"*.jpg", "*.jpeg", "*.JPG", "*.JPEG", "*.png", "*.tif", "*.tiff", "*.webp", "*.heic", "*.HEIC"};
      break;
    case Purpose::open_book:
      q.title = "Open a case book";
      q.folder = true;
      q.start = default_book().parent_path();
      break;
    case Purpose::new_book:
      q.title = "New case book";
      q.save = true;
      q.start = default_book();
      path_form->text = default_book().string();
      break;
    case Purpose::report: {
      q.title = "Write the report";
      q.save = true;
      const auto* f = current_fish();
      const auto* w = current_wound();
      q.start = default_book().parent_path() / (file_name((f ? f->fish.name : std::string("fish")) + " " + (w ? w->wound.name : std::string("wound"))) + ".pdf");
      path_form->text = q.start.string();
      break;
    }
    case Purpose::card:
      q.title = "Print the card";
      q.save = true;
      q.start = default_book().parent_path() / "uroko-card.pdf";
      path_form->text = q.start.string();
      break;
    case Purpose::lens:
      q.title = "Read a lens profile";
      q.pattern_name = "Lens profiles";
      q.patterns = {"*.json"};
      q.start = scale::lens_folder();
      break;
    case Purpose::watch:
      q.title = "Watch a folder";
      q.folder = true;
      path_form->text = settings.watched_folder.string();
      break;
  }
  path_form->asking = true;
  if (asking_) asking_->cancel();
  asking_ = outside_.start("Asking for a file", [this, q, purpose](const Token& token) -> Jobs::Delivery {
    const auto answer = ask_files(q, token);
    return [this, answer, purpose] {
      if (!path_form || !path_form->asking || path_form->purpose != purpose) return;
      path_form->asking = false;
      asking_.reset();
      if (!answer) return;  // no dialog on this desktop: the typed path stays
      if (answer->empty()) {
        path_form.reset();
        return;
      }
      if (purpose == Purpose::photos) {
        path_form.reset();
        drop_files(*answer);
      } else {
        path_chosen(answer->front());
      }
    };
  });
}

void Session::path_chosen(const fs::path& typed) {
  if (!path_form) return;
  auto& f = *path_form;
  f.fault.clear();
  std::string text = trim(typed.string());
  if (text.rfind("~/", 0) == 0) text = (default_book().parent_path() / text.substr(2)).string();
  const fs::path path = text;
  if (text.empty() && f.purpose != Purpose::watch) {
    f.fault.say("Type a path, or drop the file on the window.", "path.text");
    return;
  }
  std::error_code ignored;
  switch (f.purpose) {
    case Purpose::photos:
      if (!fs::exists(path, ignored)) {
        f.fault.say(path.string() + " is not there. Check the spelling.", "path.text");
        return;
      }
      path_form.reset();
      return drop_files({path});
    case Purpose::open_book:
      if (!fs::exists(path, ignored)) {
        f.fault.say(path.string() + " is not there. Check the spelling.", "path.text");
        return;
      }
      return open_book(path);
    case Purpose::new_book: path_form.reset(); return new_book(path);
    case Purpose::report: return write_report(path);
    case Purpose::card: return write_card(path);
    case Purpose::lens:
      if (!fs::exists(path, ignored)) {
        f.fault.say(path.string() + " is not there. Check the spelling.", "path.text");
        return;
      }
      path_form.reset();
      return choose_lens({LensChoice::By::file, fs::absolute(path)});
    case Purpose::watch:
      if (!text.empty() && !fs::is_directory(path, ignored)) {
        f.fault.say(path.string() + " is not a folder.", "path.text");
        return;
      }
      settings.watched_folder = text.empty() ? path : fs::absolute(path);
      watched_.reset();
      save_settings_now();
      path_form.reset();
      return;
  }
}

void Session::write_card(const fs::path& path) {
  path_form.reset();
  jobs.start("Writing the card", [this, path](const Token&) -> Jobs::Delivery {
    const auto extension = lower_ascii(path.extension().string());
    write_file_whole(path, report::card_page(scale::card_layout(), extension == ".svg" ? ".svg" : ".pdf", report::Paper::a4));
    return [this, path] { tell(Notice::Kind::done, "The card is in " + path.string() + ".", "Print it at 100 %, then measure its 100 mm bar and enter that in the settings."); };
  }, true);
}

void Session::confirm_form() {
  if (path_form)
    path_chosen(path_form->text);
  else if (log_form)
    save_log();
  else if (fish_form)
    save_fish();
  else if (wound_form)
    save_wound();
  else if (visit_form)
    save_visit();
  else if (import_form)
    confirm_import();
  else if (scale_form)
    give_scale();
}

/// What was seen in the watched folder. One look is under way at a time, and only that one uses `files` and `first`.
struct Session::Watched {
  struct Seen {
    std::uintmax_t size = 0;
    bool told = false;
  };
  std::map<fs::path, Seen> files;
  bool first = true;  ///< what lies there already is not new
  std::atomic<bool> looking{false};
};

void Session::watch(bool at_once) {
  if (settings.watched_folder.empty()) return;
  const auto now = std::chrono::steady_clock::now();
  if (!at_once && now - watched_at_ < std::chrono::seconds(2)) return;
  watched_at_ = now;
  if (!watched_) watched_ = std::make_shared<Watched>();
  if (watched_->looking.exchange(true)) return;  // a slow disk
  outside_.start("Looking at the watched folder", [this, watched = watched_, folder = settings.watched_folder](const Token&) -> Jobs::Delivery {
    std::vector<fs::path> fresh;
    for (const auto& [file, size] : photo_files(folder)) {
      auto& seen = watched->files[file];
      // A file that still grows is left for the next look.
      if (!seen.told && (watched->first || (seen.size == size && size > 0))) {
        seen.told = true;
        if (!watched->first) fresh.push_back(file);
      }
      seen.size = size;
    }
    if (std::error_code ignored; fs::is_directory(folder, ignored)) watched->first = false;  // one that is not there yet: what it brings with it is not new
    watched->looking = false;
    if (fresh.empty()) return {};
    return [this, watched, fresh] {
      if (watched == watched_) bring_up(fresh);
    };
  }, false, true);
}

void Session::set_degree_day_base(double celsius) {
  settings.degree_day_base_c = celsius;
  save_settings_now();
  recompute_course();
}

// ---- the unfinished trace

void Session::autosave() {
  if (!desk || (desk->history.steps().size() < 2 && !desk->unsaved())) return;
  const auto trace = std::make_shared<const UnfinishedTrace>(unfinished_trace(*desk, book.path));
  unfinished_ = trace;
  if (!kept_unfinished_->keep([trace] { return unfinished_text(*trace); })) return;
  reading_.start("Keeping the unfinished trace", [kept = kept_unfinished_, to = places.unfinished](const Token&) -> Jobs::Delivery {
    kept->write(to);
    return {};
  }, false, true);
}

void Session::keep_files_now() {
  for (const auto& [kept, to] : {std::pair{kept_unfinished_, places.unfinished}, std::pair{kept_settings_, places.settings}}) try {
      kept->write(to);
    } catch (...) {
      trouble("Keeping " + to.filename().string(), std::current_exception());
    }
}

void Session::cancel_jobs() {
  jobs.cancel_all();
  ++opening_number_;
  opening.reset();
  if (import_stop_) import_stop_->cancel();
  if (desk) desk->finding_scale = desk->finding_margin = false;
  if (path_form) path_form->asking = false;
  if (import_form) import_form->making_book = false;
  for (const auto& key : std::exchange(matching_, {})) aligned_.erase(key);
  ghost_match_ = {};
}

void Session::restore_unfinished() {
  if (!unfinished_ || unfinished_->file != fs::absolute(desk->file)) return;
  const auto& kept = *unfinished_;
  const auto* saved = accepted_row();
  desk->history.restore(kept.steps, kept.at);
  desk->accepted.reset();
  if (kept.accepted) desk->accepted = desk->history.steps().at(*kept.accepted).id;
  if (!desk->history.now().margin) {
    desk->measurement.reset();
  } else {
    // A write whose answer came when another photo was on the desk, or never.
    if (saved && desk->unsaved() && saved->margin_wkt == to_wkt(desk->history.now().outline(), 4)) desk->accepted = desk->history.id();
    desk->tool = make_tool(ToolId::points);
    if (desk->unsaved()) desk->measurement.reset();
  }
}

}  // namespace uroko::app
