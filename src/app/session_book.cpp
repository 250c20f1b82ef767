// The open case book: what is read of it and when, choosing, accepting a measurement, undo.
#include <algorithm>
#include <cmath>
#include <exception>
#include <memory>
#include <nlohmann/json.hpp>
#include <unordered_map>

#include "app/book_access.h"
#include "app/kept_json.h"
#include "uroko/app/session.h"
#include "uroko/base/error.h"
#include "uroko/base/text.h"
#include "uroko/casebook/measured.h"

namespace uroko::app {

namespace fs = std::filesystem;
using casebook::Id;

/// What was just read takes the place of what is shown; measures of the fish that is looked at and the other wounds' series stay until they are read anew.
void Session::adopt(std::shared_ptr<BookModel> now) {
  now->due = std::move(book.due);
  std::unordered_map<Id, WoundEntry*> known;
  for (auto& f : book.fish)
    for (auto& w : f.wounds) known[w.wound.id] = &w;
  for (auto& f : now->fish)
    for (auto& w : f.wounds) {
      const auto old = known.find(w.wound.id);
      if (w.read || old == known.end()) continue;
      w.series = std::move(old->second->series);
      if (f.fish.id != fish) continue;
      w.events = std::move(old->second->events);
      std::unordered_map<Id, PhotoEntry*> measured;
      for (auto& v : old->second->visits)
        for (auto& p : v.photos)
          if (p.measure) measured[p.row.id] = &p;
      for (auto& v : w.visits)
        for (auto& p : v.photos)
          if (const auto m = measured.find(p.row.id); m != measured.end()) {
            p.measure = std::move(m->second->measure);
            p.proposed = m->second->proposed;
          }
    }
  std::swap(book, *now);
  reading_.start("Closing", [old = std::move(now)](const Token&) mutable -> Jobs::Delivery {
    old.reset();  // a large one takes longer than a frame to take apart
    return {};
  }, false, true);
  ++book_version_;
  const auto* shown = current_fish();
  if (shown && !shown->read() && !coming_wound_) with_fish(fish, [this] { recompute_course(); });
}

void Session::with_fish(Id id, const std::function<void()>& then) {
  const auto request = ++fish_request_;
  const auto* f = book.find_fish(id);
  if (!f || f->read()) return then();
  reading_.start("Reading " + f->fish.name, [this, request, id, then, version = book_version_, access = access_, entry = *f](const Token&) mutable -> Jobs::Delivery {
    read_fish(access->reading, entry);
    return [this, request, id, then, version, entry = std::move(entry)] {
      if (request != fish_request_) return;
      if (version != book_version_) return with_fish(id, then);  // written since
      if (auto* now = fish_in(book, id)) *now = entry;
      then();
    };
  }, true, true);
}

/// What is due, and the series of all wounds, in pieces so that a fish that is chosen meanwhile need not wait.
struct Session::Rest {
  std::uint64_t version = 0;
  bool due = false;
  std::vector<Id> wounds;
  std::size_t next = 0;
};

void Session::read_the_rest() {
  if (!access_) return;
  auto rest = std::make_shared<Rest>();
  rest->version = book_version_;
  for (const auto& f : book.fish)
    for (const auto& w : f.wounds)
      if (!w.read) rest->wounds.push_back(w.wound.id);
  read_piece(rest);
}

void Session::read_piece(const std::shared_ptr<Rest>& rest) {
  constexpr std::size_t kPiece = 32;
  reading_.start("Reading the case book", [this, rest, access = access_](const Token&) -> Jobs::Delivery {
    std::vector<DueEntry> due;
    std::vector<std::pair<Id, healing::Series>> series;
    const bool first = !rest->due;
    try {
      if (first) due = due_entries(access->reading);
      for (std::size_t i = rest->next; !first && i < std::min(rest->next + kPiece, rest->wounds.size()); ++i)
        series.emplace_back(rest->wounds[i], access->reading.series_of(rest->wounds[i]));
    } catch (const Error&) {
      return {};  // a book that went away is told at the next thing that is done with it
    }
    return [this, rest, first, due = std::move(due), series = std::move(series)]() mutable {
      if (rest->version != book_version_) return;  // a newer reading is on its way
      if (first) book.due = std::move(due);
      rest->due = true;
      rest->next += series.size();
      std::unordered_map<Id, healing::Series*> read;
      for (auto& [id, s] : series) read[id] = &s;
      for (auto& f : book.fish)
        for (auto& w : f.wounds)
          if (const auto s = read.find(w.wound.id); s != read.end() && !w.read) w.series = std::move(*s->second);
      if (rest->next < rest->wounds.size()) read_piece(rest);
    };
  }, false, true);
}

void Session::select_fish(Id id) {
  const auto* f = book.find_fish(id);
  if (!f) return;
  if (!f->wounds.empty()) return select_wound(f->wounds.front().wound.id);
  ++fish_request_;
  coming_wound_ = 0;
  fish = id;
  wound = visit = 0;
  desk.reset();
  recompute_course();
}

void Session::select_wound(Id id) {
  const auto* w = book.find_wound(id);
  if (!w) return;
  coming_wound_ = id;
  with_fish(w->wound.fish, [this, id] { show_wound(id); });
}

void Session::show_wound(Id id) {
  coming_wound_ = 0;
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
  const auto at = std::find(all.begin(), all.end(), coming_wound_ ? coming_wound_ : wound) - all.begin();
  const long n = static_cast<long>(all.size());
  select_wound(all[static_cast<std::size_t>(((at >= n ? 0 : at + by) % n + n) % n)]);
}

void Session::show_photo(Id photo, const fs::path& taken_in) {
  const auto* p = book.find_photo(photo);
  const auto* w = p ? book.find_wound(p->row.wound) : nullptr;
  if (!w) return;
  coming_wound_ = w->wound.id;
  with_fish(w->wound.fish, [this, photo, taken_in] {
    coming_wound_ = 0;
    const auto* now = book.find_photo(photo);
    const auto* of = now ? book.find_wound(now->row.wound) : nullptr;
    if (!of) return;
    fish = of->wound.fish;
    wound = now->row.wound;
    visit = now->row.visit;
    const PhotoPlace place{fish, wound, visit, photo};
    if (!taken_in.empty() && desk && !desk->place.photo && desk->file == taken_in && (desk->unsaved() || !now->measure)) {
      desk->file = now->file;
      desk->place = place;
      autosave();
      recompute_course();
      recompute_ghost();
      return;
    }
    step = Step::scale;
    open_photo(now->file, place, now->measure ? &*now->measure : nullptr);
  });
}

void Session::accept() {
  if (!desk) return;
  const auto& work = desk->history.now();
  if (desk->tool && desk->tool->busy()) return apply(desk->tool->accept(work.outline()));  // Enter closes a clicked loop first
  if (!work.margin) return tell(Notice::Kind::trouble, "There is no margin to accept yet.", "Loop the wound first (L).");
  if (!work.map) return tell(Notice::Kind::trouble, "The photo has no scale yet.", "Find the card (C) or give a ruler, a disc or a rectangle.");
  if (desk->measure_refusal) return tell(Notice::Kind::trouble, "This margin has no area: " + desk->measure_refusal->text + ".", desk->measure_refusal->advice);
  if (!desk->measurement || desk->measured != desk->generation) return tell(Notice::Kind::trouble, "The margin is still being measured.", "Accept in a moment.");
  if (!desk->acceptable() || desk->saving()) return;
  if (!access_ || !desk->place.photo) {
    if (import_form) return tell(Notice::Kind::trouble, kNotInBook, "Say which fish and wound it is, then take it in.");
    return drop_files({desk->file});
  }
  // A person has said so: neither the margin nor the measure, which repeats its warnings, asks to be looked at any more.
  const auto asks = [](const Warning& w) { return w.code == "proposal"; };
  auto confirmed = std::make_shared<margin::Margin>(*work.margin);
  auto measured = std::make_shared<measure::Measurement>(*desk->measurement);
  confirmed->proposal = false;
  std::erase_if(confirmed->warnings, asks);
  std::erase_if(measured->warnings, asks);
  auto row = casebook::to_row(desk->place.photo, *work.map, *confirmed, *measured, desk->bed.get(), measure_options());
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
  desk->asked = desk->history.id();
  desk->save_refusal.reset();
  last_change_ = Change::book;
  const auto* v = book.find_wound(desk->place.wound) ? book.find_wound(desk->place.wound)->visit(desk->place.visit) : nullptr;
  Write w;
  w.label = "Saving the margin";
  w.what = "the margin of " + (v ? v->visit.date.iso_date() : desk->file.filename().string());
  w.work = [row](casebook::Book& b, const Token&) mutable { b.add(row); };
  // The desk may show another photo, or this one with a newer margin, by the time the answer comes.
  w.done = [this, of = desk->id, id = desk->history.id(), generation = desk->generation, confirmed, measured] {
    if (!desk || desk->id != of) return;
    desk->accepted = id;
    if (desk->history.id() == id && desk->proposed()) {
      auto now = desk->history.now();
      now.margin = confirmed;
      desk->history.amend(std::move(now));
      if (desk->measured == generation) desk->measurement = measured;
    }
    if (desk->asked == id) desk->asked.reset();
    autosave();
    if (const auto* c = course(); c && c->looks.size() > 1 && step == Step::margin) compare.left = compare.right = 0;
  };
  w.refused = [this, of = desk->id, id = desk->history.id()](const Error& e) {
    if (!desk || desk->id != of || desk->asked != id || opening) return false;
    desk->asked.reset();
    desk->save_refusal = Refusal{e.code(), "This margin is not in the case book: " + e.happened(), e.advice()};
    return true;  // the trace is here, and can be accepted again
  };
  write(std::move(w));
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
      kept->proposal = options.value("proposal", false);
      if (kept->proposal) kept->warnings.push_back({"proposal", "this margin was found without a hint and nobody has looked at it yet; look along the whole line, mend it, then accept it"});
    }
    if (!options.is_discarded() && options.contains("grey")) work.grey = ImagePoint{options["grey"].at(0).get<double>(), options["grey"].at(1).get<double>()};
  } catch (const std::exception& e) {
    tell(Notice::Kind::trouble, std::string("The stored margin could not be read: ") + e.what(), "Trace it again; the old one stays in the book.");
    return;
  }
  desk->history.clear(work);
  desk->accepted = desk->history.id();
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

/// Of the book's own steps, with those that are on their way into it.
std::optional<std::string> Session::book_label(bool back) const {
  if (!access_) return std::nullopt;
  if (!writes_.empty() && !writes_.back().steps_back) return back ? std::optional(writes_.back().what) : std::nullopt;
  return back ? book.undo : book.redo;
}

std::optional<std::string> Session::undo_label() const {
  if (desk && desk->tool && desk->tool->busy()) return "the stroke under way";
  const bool on_desk = desk && desk->history.can_undo();
  if (last_change_ == Change::book || !on_desk)
    if (auto label = book_label(true)) return label;
  if (on_desk) return desk->history.undo_label();
  return std::nullopt;
}

std::optional<std::string> Session::redo_label() const {
  const bool on_desk = desk && desk->history.can_redo();
  if (last_change_ == Change::book || !on_desk)
    if (auto label = book_label(false)) return label;
  if (on_desk) return desk->history.redo_label();
  return std::nullopt;
}

bool Session::undo_book(bool back) {
  if (!book_label(back)) return false;
  auto label = std::make_shared<std::string>();  // written by the worker before `done` is called here
  Write w;
  w.label = back ? "Taking the last step back" : "Doing it again";
  w.what = back ? "the step back" : "the step that was done again";
  w.steps_back = true;
  w.work = [label, back](casebook::Book& b, const Token&) { *label = back ? b.undo() : b.redo(); };
  w.done = [this, label, back] {
    tell(Notice::Kind::done, (back ? "Taken back: " : "Done again: ") + *label + ".");
    book_was_undone();
  };
  w.refused = [this](const Error& e) {
    if (e.fault() != Fault::usage) trouble("Undo", std::make_exception_ptr(e));  // usage: there is nothing more to take back
    return true;
  };
  write(std::move(w));
  return true;
}

void Session::book_was_undone() {
  if (!desk || !desk->place.photo) return;
  if (book.find_photo(desk->place.photo)) return follow_desk();
  desk.reset();
  visit = 0;
  if (!book.find_wound(wound)) wound = 0;
  if (!book.find_fish(fish)) fish = 0;
}

}  // namespace uroko::app
