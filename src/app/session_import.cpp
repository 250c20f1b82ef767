// Photos on their way into the case book.
#include <algorithm>
#include <memory>
#include <utility>

#include "app/book_access.h"
#include "app/photo_files.h"
#include "app/typed.h"
#include "uroko/app/session.h"
#include "uroko/base/error.h"
#include "uroko/base/text.h"

namespace uroko::app {

namespace fs = std::filesystem;
using casebook::Id;

void Session::drop_files(const std::vector<fs::path>& files) {
  if (bring_up(files)) path_form.reset();  // the form that asked for them
}

bool Session::bring_up(const std::vector<fs::path>& files) {
  std::vector<fs::path> found;
  for (const auto& file : files) {
    std::error_code error;
    if (file.extension() == ".uroko") {
      open_book(file);
      return false;
    }
    if (fs::is_directory(file, error)) {
      for (auto& [photo, size] : photo_files(file)) found.push_back(std::move(photo));
    } else {
      found.push_back(file);
    }
  }
  std::sort(found.begin(), found.end());
  const auto refused = [&](const char* why, const char* advice) {
    tell(Notice::Kind::trouble, why, advice);
    return false;
  };
  if (found.empty()) return refused("There is no photo in what was dropped.", "Drop JPEG, HEIC, PNG, TIFF or WebP files, or a folder of them.");
  if (has_book() && book.read_only) return refused("The case book is open for reading only.", "Copy it to a folder that you may write to.");
  if (!import_form) {
    import_form.emplace();
    if (const auto* f = current_fish()) import_form->fish = f->fish.name;
    if (const auto* w = current_wound()) import_form->wound = w->wound.name;
    if (!has_book()) import_form->book = default_book().string();
  }
  settings.last_folder = fs::absolute(found.front()).parent_path();
  for (const auto& file : found) {
    if (std::any_of(import_form->items.begin(), import_form->items.end(), [&](const auto& i) { return i.file == file; })) continue;
    import_form->items.push_back({file, {}, {}, {}});
    jobs.start("Looking at " + file.filename().string(), [this, file](const Token&) -> Jobs::Delivery {
      std::optional<photo::PhotoInfo> info;
      std::string problem;
      try {
        info = photo::probe(file);
      } catch (const Error& e) {
        problem = e.happened();
      }
      return [this, file, info, problem] {
        if (!import_form) return;
        for (auto& item : import_form->items)
          if (item.file == file) {
            item.info = info;
            item.trouble = problem;
            if (info && info->taken && item.date.empty()) item.date = info->taken->iso_date();
          }
      };
    });
  }
  // The first one is shown meanwhile, so that it is seen which fish it is.
  if (!desk || !desk->unsaved()) {
    step = Step::scale;
    open_photo(import_form->items.front().file);
  }
  return true;
}

void Session::confirm_import() {
  if (!import_form || import_form->making_book) return;
  auto& f = *import_form;
  f.fault.clear();
  need_names(f.fish, "import.fish.name", f.wound, "import.wound.name", f.fault);
  const auto water = optional_number(f.water, "The water temperature in degrees Celsius", casebook::kLeastWaterC, casebook::kMostWaterC, f.fault, "import.water");
  const auto weight = optional_number(f.weight, "The weight in grams", 1, 100000, f.fault, "import.weight");
  std::vector<PhotosOfDay> groups;
  std::size_t sound = 0;
  for (const auto& item : f.items) {
    if (!item.trouble.empty()) continue;
    ++sound;
    const auto date = typed_date(item.date);
    if (!date) {
      f.fault.say(item.file.filename().string() + ": the date must be like 2026-03-19.", "import.date." + std::to_string(&item - f.items.data()));
      continue;
    }
    // A date left as the photo gave it keeps its time and where it came from.
    const bool own = item.info && item.info->taken && item.info->taken->iso_date() == date->iso_date();
    if (own)
      groups.push_back({std::nullopt, {item.file}});
    else
      groups.push_back({*date, {item.file}});
  }
  if (sound == 0) f.fault.say("None of these files can be taken in.");
  if (!f.fault.empty()) return;
  if (access_) return take_in(groups, water, weight);
  const fs::path path = trim(f.book);
  if (path.empty()) {
    f.fault.say("Say where the case book is to be made.", "import.book");
    return;
  }
  f.making_book = true;
  open(path.extension() == ".uroko" ? path : fs::path(path.string() + ".uroko"), {.make = true, .if_there = true}, [this, groups, water, weight] {
    if (!import_form) return;
    import_form->making_book = false;
    if (access_) take_in(groups, water, weight);
  });
}

void Session::take_in(const std::vector<PhotosOfDay>& groups, std::optional<double> water, std::optional<double> weight) {
  const auto form = *std::exchange(import_form, std::nullopt);
  const std::string fish_name = trim(form.fish), wound_name = trim(form.wound);
  auto added = std::make_shared<std::vector<casebook::AddedPhoto>>();  // the worker's until `done`
  const Token stop;
  import_stop_ = stop;
  Write w;
  w.label = "Taking photos in";
  w.what = form.items.size() == 1 ? "the photo " + form.items.front().file.filename().string() : std::to_string(form.items.size()) + " photos";
  w.work = [groups, fish_name, wound_name, water, weight, added, stop](casebook::Book& b, const Token& token) {
    added->clear();
    casebook::Book::Step whole(b, groups.size() == 1 ? "take a photo in" : "take " + std::to_string(groups.size()) + " photos in");
    double done = 0;
    for (const auto& g : groups) {
      casebook::NewPhotos n;
      n.files = g.files;
      n.fish = fish_name;
      n.wound = wound_name;
      n.date = g.date;
      n.water_c = water;
      if (done == 0) n.weight_g = weight;
      for (auto& a : b.add_photos(n, stop)) added->push_back(std::move(a));
      if (stop.cancelled()) throw Error(Fault::input, "stopped", {}, "taking photos in was stopped and none was taken in", "take them in again, or close the form");
      token.progress(++done / static_cast<double>(groups.size()));
    }
    whole.commit();
  };
  w.done = [this, added] {
    import_stop_.reset();
    int fresh = 0;
    Id photo = 0;
    fs::path from;
    const bool traced = desk && desk->traced_outside_book();
    for (const auto& a : *added) {
      if (a.error)
        tell(Notice::Kind::trouble, a.file.filename().string() + ": " + a.error->happened(), a.error->advice());
      else if (a.already)
        tell(Notice::Kind::trouble, a.file.filename().string() + " is in the book already" + (a.already_at.empty() ? "." : ", under " + a.already_at + "."), "Nothing was added.");
      else
        ++fresh;
      if (a.error || (traced && from == desk->file)) continue;  // what is traced already stays in sight
      if (!photo || !a.already || (traced && a.file == desk->file)) photo = a.photo, from = a.file;
    }
    take_back(kNotInBook);
    if (photo) show_photo(photo, from);
  };
  w.refused = [this, form](const Error& e) {
    import_stop_.reset();
    if (import_form) return false;  // others are being taken in already
    import_form = form;
    import_form->fault.say(sentence(e.happened()) + " " + sentence(e.advice()));
    return true;
  };
  last_change_ = Change::book;
  write(std::move(w));
}

}  // namespace uroko::app
