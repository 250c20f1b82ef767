// What the workers do with the case book, as functions of values.
#include "app/book_access.h"

#include "uroko/base/error.h"
#include "uroko/casebook/measured.h"

namespace uroko::app {

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
  model.undo = book.can_undo();
  model.redo = book.can_redo();
  const auto files = book.photo_files();
  for (auto& f : book.everything()) {
    FishEntry fish;
    fish.fish = std::move(f.fish);
    for (auto& w : f.wounds) {
      WoundEntry wound;
      wound.wound = std::move(w.wound);
      for (auto& v : w.visits) {
        VisitEntry visit{std::move(v.visit), {}};
        for (auto& p : v.photos) {
          const auto& file = files.at(p.sha256);
          visit.photos.push_back({std::move(p), file, std::nullopt, false});
        }
        wound.visits.push_back(std::move(visit));
      }
      fish.wounds.push_back(std::move(wound));
    }
    model.fish.push_back(std::move(fish));
  }
  return model;
}

void read_fish(const casebook::Book& book, FishEntry& fish) {
  const auto events = book.events(fish.fish.id);
  for (auto& wound : fish.wounds) {
    for (auto& v : wound.visits)
      for (auto& p : v.photos) {
        p.measure = book.latest_measure(p.row.id);
        p.proposed = p.measure && casebook::is_proposal(*p.measure);
      }
    wound.series = book.series_of(wound.wound.id);
    wound.events = events;
    std::erase_if(wound.events, [&](const casebook::Event& e) { return e.wound && *e.wound != wound.wound.id; });
    wound.read = true;
  }
  fish.last_weighed = book.last_weighed(fish.fish.id);
}

FishEntry* fish_in(BookModel& model, Id id) {
  for (auto& f : model.fish)
    if (f.fish.id == id) return &f;
  return nullptr;
}

namespace {

/// What the newest steps are and in which state: another mark, another content.
std::string mark_of(const casebook::Book& book) {
  std::string mark;
  for (const auto& step : book.history(200)) mark += std::to_string(step.id) + (step.state == casebook::HistoryStep::State::done ? "d" : "u") + " ";
  return mark;
}

/// After which the connection cannot tell what is on the disk.
bool disk_failed(const Error& e) { return e.fault() == Fault::book && (e.code() == "io" || e.code() == "disk-full" || e.code() == "unsure" || e.code() == "rolled-back"); }

}  // namespace

void carry_out(casebook::Book& book, const std::function<void(casebook::Book&)>& work) {
  const auto before = mark_of(book);
  try {
    work(book);
  } catch (const Error& e) {
    if (!disk_failed(e)) throw;
    bool there = false;
    try {
      book = casebook::Book::open(book.folder());
      there = mark_of(book) != before;
    } catch (const Error&) {
      // Still out of reach: the next write tries again.
    }
    if (!there) throw;
  }
}

}  // namespace uroko::app
