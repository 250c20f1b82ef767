// The case book: opening, choosing, accepting a measurement, undo. Reading is a value; every write is one step of the book's own undo.
#include <algorithm>
#include <cmath>
#include <exception>
#include <map>
#include <memory>
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
  auto map = casebook::plane_map_if_any(row);
  return map ? std::make_shared<scale::PlaneMap>(std::move(*map)) : nullptr;  // a row that came from a table holds none
}

std::optional<PlaneOutline> outline_mm(const casebook::MeasureRow& row) {
  const auto map = stored_map(row);
  if (!map) return std::nullopt;
  return map->to_plane(outline_from_wkt<ImagePoint>(row.margin_wkt));
}

BookModel read_tree(const casebook::Book& book) {
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
        for (const auto& p : v.photos) visit.photos.push_back({p, book.photo_file(p.sha256), std::nullopt});
        wound.visits.push_back(std::move(visit));
      }
      fish.wounds.push_back(std::move(wound));
    }
    model.fish.push_back(std::move(fish));
  }
  return model;
}

void read_wound(const casebook::Book& book, WoundEntry& wound) {
  for (auto& v : wound.visits)
    for (auto& p : v.photos) p.measure = book.latest_measure(p.row.id);
  wound.series = book.series_of(wound.wound.id);
  wound.events = book.events(wound.wound.fish);
  std::erase_if(wound.events, [&](const casebook::Event& e) { return e.wound && *e.wound != wound.wound.id; });
  wound.course.reset();
  if (!wound.series.looks.empty()) wound.course = healing::follow(wound.series);
  wound.read = true;
}

BookModel read_model(const casebook::Book& book) {
  auto model = read_tree(book);
  for (auto& f : model.fish)
    for (auto& w : f.wounds) read_wound(book, w);
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
    skins_.clear();
    aligned_.clear();
    book = {};  // nothing of another book is carried over
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
  ++book_version_;
  book = {};
  fish = wound = visit = 0;
  import_form.reset();
  log_form.reset();
  fish_form.reset();
  wound_form.reset();
  visit_form.reset();
  recompute_course();
  ghost_.reset();
  settings.last_book.clear();
  save_settings_now();
}

void Session::reread_book() {
  if (!access_) return;
  auto tree = read_tree(access_->book);
  tree.due = std::move(book.due);
  // What is not looked at now keeps what was known of it until the worker has read the rest.
  std::map<Id, WoundEntry*> known;
  for (auto& f : book.fish)
    for (auto& w : f.wounds) known[w.wound.id] = &w;
  for (auto& f : tree.fish)
    for (auto& w : f.wounds) {
      const auto old = known.find(w.wound.id);
      if (f.fish.id == fish || old == known.end() || !old->second->read) continue;
      std::map<Id, casebook::MeasureRow*> measures;
      for (auto& v : old->second->visits)
        for (auto& p : v.photos)
          if (p.measure) measures[p.row.id] = &*p.measure;
      for (auto& v : w.visits)
        for (auto& p : v.photos)
          if (const auto m = measures.find(p.row.id); m != measures.end()) p.measure = std::move(*m->second);
      w.series = std::move(old->second->series);
      w.events = std::move(old->second->events);
      w.course = std::move(old->second->course);
      w.read = true;
    }
  book = std::move(tree);
  need(fish);
  recompute_course();
  read_the_rest();
}

void Session::reread_fish(Id id) {
  for (auto& f : book.fish)
    if (f.fish.id == id)
      for (auto& w : f.wounds) read_wound(access_->book, w);
  recompute_course();
  read_the_rest();
}

void Session::need(Id id) {
  for (auto& f : book.fish)
    if (f.fish.id == id)
      for (auto& w : f.wounds)
        if (!w.read) read_wound(access_->book, w);
}

void Session::read_the_rest() {
  const auto version = ++book_version_;
  jobs.start("Reading the case book", [this, version, folder = access_->book.folder()](const Token&) -> Jobs::Delivery {
    std::shared_ptr<BookModel> model;
    std::shared_ptr<std::vector<DueEntry>> due;
    try {
      const auto second = casebook::Book::open(folder);  // a connection of the worker's own
      model = std::make_shared<BookModel>(read_model(second));
      due = std::make_shared<std::vector<DueEntry>>(due_entries(second));
    } catch (const Error&) {
      return {};  // a book that went away is told at the next thing that is done with it
    }
    return [this, version, model, due] {
      if (version != book_version_ || !access_) return;  // written since: a newer reading is on its way
      model->due = std::move(*due);
      model->read_only = book.read_only;
      book = std::move(*model);
      recompute_course();
    };
  }, false, true);
}

void Session::select_fish(Id id) {
  need(id);
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
  need(fish);
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

void Session::show_photo(Id photo) {
  const auto* p = book.find_photo(photo);
  const auto* w = p ? book.find_wound(p->row.wound) : nullptr;
  if (!w) return;
  fish = w->wound.fish;
  need(fish);
  wound = p->row.wound;
  visit = p->row.visit;
  step = Step::scale;
  open_photo(p->file, {fish, wound, visit, photo}, p->measure ? &*p->measure : nullptr);
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
    scale["lens"] = to_json(work.lens);
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
  reread_fish(desk->place.fish);
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
      if (json.contains("lens")) work.lens = lens_from(json["lens"]);
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
    follow_desk();
    if (!book.find_photo(desk->place.photo)) {
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
