// The case book: opening, taking photos in, the care log, accepting a measurement. Reading is a value; every write is one step of the book's own undo.
#include <algorithm>
#include <cmath>
#include <exception>
#include <nlohmann/json.hpp>

#include "app/book_access.h"
#include "app/kept_json.h"
#include "uroko/app/session.h"
#include "uroko/base/error.h"
#include "uroko/base/text.h"
#include "uroko/casebook/measured.h"

namespace uroko::app {

namespace fs = std::filesystem;
using casebook::Id;

std::shared_ptr<const scale::PlaneMap> stored_map(const casebook::MeasureRow& row) {
  try {
    return std::make_shared<scale::PlaneMap>(casebook::plane_map_of(row));
  } catch (const Error&) {
    return nullptr;  // a row that came from a table holds no map
  }
}

std::optional<PlaneOutline> outline_mm(const casebook::MeasureRow& row) {
  const auto map = stored_map(row);
  if (!map) return std::nullopt;
  return map->to_plane(outline_from_wkt<ImagePoint>(row.margin_wkt));
}

BookModel read_model(const casebook::Book& book) {
  BookModel model;
  model.path = book.folder();
  model.read_only = book.read_only();
  for (const auto& f : book.everything()) {
    FishEntry fish{f.fish, {}};
    for (const auto& w : f.wounds) {
      WoundEntry wound;
      wound.wound = w.wound;
      for (const auto& v : w.visits) {
        VisitEntry visit{v.visit, {}};
        for (const auto& p : v.photos) visit.photos.push_back({p, book.photo_file(p.sha256), book.latest_measure(p.id)});
        wound.visits.push_back(std::move(visit));
      }
      wound.series = book.series_of(w.wound.id);
      if (!wound.series.looks.empty()) wound.course = healing::follow(wound.series);
      fish.wounds.push_back(std::move(wound));
    }
    model.fish.push_back(std::move(fish));
  }
  return model;
}

void Session::open_argument(const fs::path& path) {
  std::error_code ignored;
  if (path.extension() == ".uroko" || casebook::Book::is_book(path)) return open_book(path);
  open_last();
  drop_files({path});
}

void Session::open_last() {
  if (settings.last_book.empty()) return;
  if (casebook::Book::is_book(settings.last_book)) open_book(settings.last_book);
}

void Session::open_book(const fs::path& path) {
  autosave();
  try {
    auto opened = std::make_unique<BookAccess>(casebook::Book::open(path));
    desk.reset();
    access_ = std::move(opened);
    fish = wound = visit = 0;
    thumbnails_.clear();
    reread_book();
    for (const auto& w : access_->book.warnings()) tell(Notice::Kind::trouble, w.text);
    settings.remember_book(fs::absolute(path));
    save_settings_now();
    path_form.reset();
    step = Step::scale;
    if (select_unfinished()) return;
    // The fish that was looked at last comes first.
    const auto glance = access_->book.glance();
    if (!glance.empty()) select_wound(glance.front().wound);
  } catch (...) {
    trouble("Opening the case book", std::current_exception());
  }
}

void Session::new_book(const fs::path& path) {
  try {
    auto p = path;
    if (p.extension() != ".uroko") p += ".uroko";
    casebook::Book::create(p);
    open_book(p);
  } catch (...) {
    trouble("Making the case book", std::current_exception());
  }
}

void Session::close_book() {
  autosave();
  desk.reset();
  access_.reset();
  book = {};
  fish = wound = visit = 0;
  import_form.reset();
  log_form.reset();
  fish_form.reset();
  recompute_course();
  ghost_.reset();
  settings.last_book.clear();
  save_settings_now();
}

void Session::reread_book() {
  if (!access_) return;
  book = read_model(access_->book);
  book.due = read_due();
  recompute_course();
}

void Session::select_fish(Id id) {
  const auto* f = book.find_fish(id);
  if (!f) return;
  if (!f->wounds.empty()) return select_wound(f->wounds.front().wound.id);
  fish = id;
  wound = visit = 0;
  desk.reset();
  recompute_course();
}

void Session::select_wound(Id id) {
  const auto* w = book.find_wound(id);
  if (!w) return;
  fish = w->wound.fish;
  wound = id;
  bank.from = 0;
  bank.to = 1;
  if (w->visits.empty()) {
    visit = 0;
    desk.reset();
    recompute_course();
    return;
  }
  select_visit(w->visits.back().visit.id);
}

void Session::select_visit(Id id) {
  const auto* w = current_wound();
  const auto* v = w ? w->visit(id) : nullptr;
  if (!v) return;
  visit = id;
  if (v->photos.empty()) {
    desk.reset();
    recompute_course();
    return;
  }
  const PhotoEntry* p = v->measured() ? v->measured() : &v->photos.front();
  const bool comparing = step == Step::compare;
  open_photo(p->file, {fish, wound, id, p->row.id}, p->measure ? &*p->measure : nullptr);
  if (comparing) set_step(Step::compare);
}

void Session::step_visit(int by) {
  const auto* w = current_wound();
  if (!w) return;
  for (std::size_t i = 0; i < w->visits.size(); ++i)
    if (w->visits[i].visit.id == visit) {
      const long next = static_cast<long>(i) + by;
      if (next >= 0 && next < static_cast<long>(w->visits.size())) select_visit(w->visits[static_cast<std::size_t>(next)].visit.id);
      return;
    }
}

void Session::step_fish(int by) {
  std::vector<Id> all;
  for (const auto& f : book.fish)
    for (const auto& w : f.wounds) all.push_back(w.wound.id);
  if (all.empty()) return;
  const auto at = std::find(all.begin(), all.end(), wound) - all.begin();
  const long n = static_cast<long>(all.size());
  select_wound(all[static_cast<std::size_t>(((at >= n ? 0 : at + by) % n + n) % n)]);
}

void Session::drop_files(const std::vector<fs::path>& files) {
  std::vector<fs::path> found;
  for (const auto& file : files) {
    std::error_code error;
    if (file.extension() == ".uroko") return open_book(file);
    if (fs::is_directory(file, error)) {
      for (const auto& entry : fs::directory_iterator(file, error))
        if (entry.is_regular_file(error)) {
          const auto e = lower_ascii(entry.path().extension().string());
          if (e == ".jpg" || e == ".jpeg" || e == ".png" || e == ".tif" || e == ".tiff" || e == ".webp" || e == ".heic" || e == ".heif") found.push_back(entry.path());
        }
    } else {
      found.push_back(file);
    }
  }
  std::sort(found.begin(), found.end());
  if (found.empty()) return tell(Notice::Kind::trouble, "There is no photo in what was dropped.", "Drop JPEG, HEIC, PNG, TIFF or WebP files, or a folder of them.");
  if (has_book() && book.read_only) return tell(Notice::Kind::trouble, "The case book is open for reading only.", "Copy it to a folder that you may write to.");
  if (!import_form) {
    import_form.emplace();
    if (const auto* f = current_fish()) import_form->fish = f->fish.name;
    if (const auto* w = current_wound()) import_form->wound = w->wound.name;
    if (!has_book()) import_form->book = default_book().string();
  }
  path_form.reset();
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
}

namespace {

std::optional<double> optional_number(const std::string& text, const char* what, double least, double most, std::string& fault) {
  if (trim(text).empty()) return std::nullopt;
  const auto v = parse_typed_number(text);
  if (!v || *v < least || *v > most) {
    fault = std::string(what) + " must be a number from " + number_text(least) + " to " + number_text(most) + ".";
    return std::nullopt;
  }
  return v;
}

}  // namespace

void Session::confirm_import() {
  if (!import_form) return;
  auto& f = *import_form;
  f.fault.clear();
  if (trim(f.fish).empty()) f.fault = "Which fish is it? A name or a tag is enough.";
  else if (trim(f.wound).empty()) f.fault = "Which wound is it? The body site is a good name.";
  const auto water = optional_number(f.water, "The water temperature in degrees Celsius", -2, 45, f.fault);
  const auto weight = optional_number(f.weight, "The weight in grams", 1, 100000, f.fault);
  struct Group {
    std::optional<DateTime> date;  ///< nothing: the photo's own
    std::vector<fs::path> files;
  };
  std::vector<Group> groups;
  std::size_t sound = 0;
  for (const auto& item : f.items) {
    if (!item.trouble.empty()) continue;
    ++sound;
    const auto date = DateTime::parse(trim(item.date));
    if (!date) {
      if (f.fault.empty()) f.fault = item.file.filename().string() + ": the date must be like 2026-03-19.";
      continue;
    }
    // A date left as the photo gave it keeps its time and where it came from.
    const bool own = item.info && item.info->taken && item.info->taken->iso_date() == date->iso_date();
    if (own)
      groups.push_back({std::nullopt, {item.file}});
    else
      groups.push_back({*date, {item.file}});
  }
  if (sound == 0 && f.fault.empty()) f.fault = "None of these files can be taken in.";
  if (!f.fault.empty()) return;
  if (!access_) {
    const fs::path path = trim(f.book);
    if (path.empty()) {
      f.fault = "Say where the case book is to be made.";
      return;
    }
    const auto form = f;
    try {
      auto p = path.extension() == ".uroko" ? path : fs::path(path.string() + ".uroko");
      if (!casebook::Book::is_book(p)) casebook::Book::create(p);
      open_book(p);
    } catch (...) {
      trouble("Making the case book", std::current_exception());
      return;
    }
    if (!access_) return;
    import_form = form;
  }
  // cppcheck-suppress nullPointerRedundantCheck ; open_book, above, has made it
  const auto folder = access_->book.folder();
  const std::string fish_name = trim(import_form->fish), wound_name = trim(import_form->wound);
  import_form.reset();
  jobs.start("Taking photos in", [this, folder, groups, fish_name, wound_name, water, weight](const Token& token) -> Jobs::Delivery {
    auto second = casebook::Book::open(folder);  // a connection of the worker's own
    std::vector<casebook::AddedPhoto> added;
    {
      casebook::Book::Step whole(second, groups.size() == 1 ? "take a photo in" : "take " + std::to_string(groups.size()) + " photos in");
      double done = 0;
      for (const auto& g : groups) {
        casebook::NewPhotos n;
        n.files = g.files;
        n.fish = fish_name;
        n.wound = wound_name;
        n.date = g.date;
        n.water_c = water;
        if (done == 0) n.weight_g = weight;
        for (auto& a : second.add_photos(n, token)) added.push_back(std::move(a));
        token.progress(++done / static_cast<double>(groups.size()));
      }
      whole.commit();
    }
    return [this, folder, added] {
      if (!access_ || access_->book.folder() != folder) return;
      int fresh = 0;
      Id photo = 0;
      for (const auto& a : added) {
        if (a.error)
          tell(Notice::Kind::trouble, a.file.filename().string() + ": " + a.error->happened(), a.error->advice());
        else if (a.already)
          tell(Notice::Kind::trouble, a.file.filename().string() + " is in the book already" + (a.already_at.empty() ? "." : ", under " + a.already_at + "."), "Nothing was added.");
        else
          ++fresh;
        if (!a.error && (!photo || !a.already)) photo = a.photo;
      }
      last_change_ = Change::book;
      reread_book();
      if (photo) show_photo(photo);
    };
  }, true);
}

void Session::show_photo(Id photo) {
  for (const auto& f : book.fish)
    for (const auto& w : f.wounds)
      for (const auto& v : w.visits)
        for (const auto& p : v.photos)
          if (p.row.id == photo) {
            fish = f.fish.id;
            wound = w.wound.id;
            visit = v.visit.id;
            step = Step::scale;
            open_photo(p.file, {fish, wound, visit, photo}, p.measure ? &*p.measure : nullptr);
            return;
          }
}

void Session::accept() {
  if (!desk) return;
  const auto& work = desk->history.now();
  if (desk->tool && desk->tool->busy()) return apply(desk->tool->accept(work.outline()));  // Enter closes a clicked loop first
  if (!work.margin) return tell(Notice::Kind::trouble, "There is no margin to accept yet.", "Loop the wound first (L).");
  if (!work.map) return tell(Notice::Kind::trouble, "The photo has no scale yet.", "Find the card (C) or give a ruler, a disc or a rectangle.");
  if (!desk->measurement || desk->measured != desk->generation) return tell(Notice::Kind::trouble, "The margin is still being measured.", "Accept in a moment.");
  if (!desk->unsaved()) return;
  if (!access_ || !desk->place.photo) {
    if (import_form) return tell(Notice::Kind::trouble, "This photo is not in the case book yet.", "Say which fish and wound it is, then take it in.");
    return drop_files({desk->file});
  }
  auto row = casebook::to_row(desk->place.photo, *work.map, *work.margin, *desk->measurement, desk->bed.get(), measure_options());
  if (work.choice) {
    auto scale = nlohmann::json::parse(row.scale_json);
    scale["choice"] = to_json(*work.choice);
    row.scale_json = scale.dump();
  }
  if (work.grey) {
    auto options = nlohmann::json::parse(row.options_json, nullptr, false);
    if (!options.is_object()) options = nlohmann::json::object();
    options["grey"] = {work.grey->x, work.grey->y};
    row.options_json = options.dump();
  }
  try {
    access_->book.add(row);
  } catch (...) {
    return trouble("Accepting the margin", std::current_exception());
  }
  desk->accepted_at = desk->history.at();
  last_change_ = Change::book;
  reread_book();
  autosave();
  const auto* c = course();
  if (c && c->looks.size() > 1 && step == Step::margin) {
    compare.left = compare.right = 0;
  }
}

void Session::restore_measure(const casebook::MeasureRow& row) {
  Work work;
  try {
    auto kept = std::make_shared<margin::Margin>();
    kept->outline = outline_from_wkt<ImagePoint>(row.margin_wkt);
    for (const auto from : {margin::From::given, margin::From::loop, margin::From::seed, margin::From::automatic})
      if (row.margin_from == margin::name(from)) kept->from = from;
    work.margin = kept;
    const auto json = nlohmann::json::parse(row.scale_json, nullptr, false);
    if (!json.is_discarded()) {
      if (json.contains("choice")) work.choice = choice_from(json["choice"]);
    }
    work.map = stored_map(row);
    try {
      work.body = casebook::options_of(row).body;
    } catch (const Error&) {
      // A row that came from a table: read flat.
    }
    if (!work.choice) work.choice = measure::ByCard{settings.print_scale};
    const auto options = nlohmann::json::parse(row.options_json, nullptr, false);
    if (options.is_object()) {  // how sure the margin was, for what is drawn on from it
      kept->doubt_px = options.value("doubt_px", kept->doubt_px);
      kept->correlation_px = options.value("correlation_px", kept->correlation_px);
      kept->common_px = options.value("common_px", kept->common_px);
    }
    if (!options.is_discarded() && options.contains("grey")) work.grey = ImagePoint{options["grey"].at(0).get<double>(), options["grey"].at(1).get<double>()};
  } catch (const std::exception& e) {
    tell(Notice::Kind::trouble, std::string("The stored margin could not be read: ") + e.what(), "Trace it again; the old one stays in the book.");
    return;
  }
  desk->history.clear(work);
  desk->accepted_at = 0;
  // What was accepted is shown at once; it is measured again when the photo is there.
  auto m = std::make_shared<measure::Measurement>();
  m->area_mm2 = {row.area_mm2, row.u_mm2, row.low95, row.high95};
  m->perimeter_mm.value = row.perimeter_mm;
  m->length_mm.value = row.length_mm;
  m->width_mm.value = row.width_mm;
  const auto budget = nlohmann::json::parse(row.budget_json, nullptr, false);
  if (budget.is_array())
    for (const auto& line : budget)
      if (line.contains("source") && line.contains("u_mm2")) m->budget.push_back({line["source"].get<std::string>(), line["u_mm2"].get<double>()});
  desk->measurement = m;
  desk->measured = desk->generation;
  desk->tool = make_tool(ToolId::points);
}

void Session::open_log() {
  log_form.emplace();
  log_form->date = current_wound() && current_wound()->visit(visit) ? current_wound()->visit(visit)->visit.date.iso_date() : DateTime::now().iso_date();
}

void Session::save_log() {
  if (!log_form || !access_) return;
  auto& f = *log_form;
  f.fault.clear();
  const auto date = DateTime::parse(trim(f.date));
  if (!date) f.fault = "The date must be like 2026-03-19 or 2026-03-19T10:30.";
  try {
    if (f.fault.empty() && f.kind == "water temperature") {
      const auto v = optional_number(f.water, "The water temperature in degrees Celsius", -2, 45, f.fault);
      if (!v && f.fault.empty()) f.fault = "What is the water temperature?";
      if (v) {
        casebook::Book::Step whole(access_->book, "note the water temperature");
        auto stored = *access_->book.find<casebook::Fish>(fish);
        if (stored.place.empty()) {
          stored.place = "pond of " + stored.name;
          access_->book.update(stored);
        }
        casebook::WaterReading reading;
        reading.place = stored.place;
        reading.date = *date;
        reading.water_c = *v;
        access_->book.add(reading);
        whole.commit();
      }
    } else if (f.fault.empty() && f.kind == "weight") {
      const auto v = optional_number(f.weight, "The weight in grams", 1, 100000, f.fault);
      if (!v && f.fault.empty()) f.fault = "What do the scales say?";
      if (v) {
        casebook::Weight row;
        row.fish = fish;
        row.date = *date;
        row.grams = *v;
        access_->book.add(row);
      }
    } else if (f.fault.empty()) {
      casebook::Event event;
      event.fish = fish;
      if (wound && !f.whole_fish) event.wound = wound;
      event.date = *date;
      event.kind = f.kind;
      event.note = trim(f.note);
      access_->book.add(event);
    }
  } catch (...) {
    return trouble("Saving the care log", std::current_exception());
  }
  if (!f.fault.empty()) return;
  log_form.reset();
  last_change_ = Change::book;
  reread_book();
}

void Session::open_fish() {
  const auto* f = current_fish();
  if (!f) return;
  fish_form.emplace();
  fish_form->id = f->fish.id;
  fish_form->name = f->fish.name;
  fish_form->variety = f->fish.variety;
  fish_form->length = f->fish.length_mm ? number_text(*f->fish.length_mm) : "";
  fish_form->note = f->fish.note;
}

void Session::save_fish() {
  if (!fish_form || !access_) return;
  auto& f = *fish_form;
  f.fault.clear();
  if (trim(f.name).empty()) f.fault = "A fish needs a name or a tag.";
  const auto length = optional_number(f.length, "The length in mm", 10, 2000, f.fault);
  if (!f.fault.empty()) return;
  try {
    auto row = f.id ? *access_->book.find<casebook::Fish>(f.id) : casebook::Fish{};
    row.name = trim(f.name);
    row.variety = trim(f.variety);
    row.length_mm = length;
    row.note = f.note;
    if (f.id)
      access_->book.update(row);
    else
      access_->book.add(row);
  } catch (const Error& e) {
    f.fault = e.happened() + ". " + e.advice();
    return;
  } catch (...) {
    return trouble("Saving the fish", std::current_exception());
  }
  fish_form.reset();
  last_change_ = Change::book;
  reread_book();
}

std::optional<std::string> Session::undo_label() const {
  if (desk && desk->tool && desk->tool->busy()) return "the stroke under way";
  const bool on_desk = desk && desk->history.can_undo();
  if (access_ && (last_change_ == Change::book || !on_desk))
    if (auto label = access_->book.can_undo()) return label;
  if (on_desk) return desk->history.undo_label();
  return std::nullopt;
}

std::optional<std::string> Session::redo_label() const {
  const bool on_desk = desk && desk->history.can_redo();
  if (access_ && (last_change_ == Change::book || !on_desk))
    if (auto label = access_->book.can_redo()) return label;
  if (on_desk) return desk->history.redo_label();
  return std::nullopt;
}

bool Session::undo_book(bool back) {
  if (!access_ || !(back ? access_->book.can_undo() : access_->book.can_redo())) return false;
  try {
    const auto label = back ? access_->book.undo() : access_->book.redo();
    tell(Notice::Kind::done, (back ? "Taken back: " : "Done again: ") + label + ".");
  } catch (...) {
    trouble("Undo", std::current_exception());
    return true;
  }
  reread_book();
  if (desk && desk->place.photo) {
    // The accepted revision may have gone or come back.
    desk->accepted_at.reset();
    if (const auto row = access_->book.latest_measure(desk->place.photo); row && row->margin_wkt == to_wkt(desk->history.now().outline(), 4)) desk->accepted_at = desk->history.at();
    if (!book.find_wound(desk->place.wound) || !book.find_wound(desk->place.wound)->visit(desk->place.visit)) {
      desk.reset();
      visit = 0;
      if (!book.find_wound(wound)) wound = 0;
      if (!book.find_fish(fish)) fish = 0;
    }
  }
  recompute_course();
  return true;
}

}  // namespace uroko::app
