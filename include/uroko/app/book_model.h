#pragma once
#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "uroko/casebook/book.h"
#include "uroko/healing/series.h"

namespace uroko::app {

// What the window shows of a case book: a value, read by a worker at opening and again after each write. Nothing of the window asks the book itself.

struct PhotoEntry {
  casebook::PhotoRow row;
  std::filesystem::path file;
  std::optional<casebook::MeasureRow> measure;  ///< newest revision
  bool proposed = false;  ///< that one was found without a hint, and no person has accepted it
};
struct VisitEntry {
  casebook::Visit visit;
  std::vector<PhotoEntry> photos;  ///< of one wound
  const PhotoEntry* measured() const;
};
struct WoundEntry {
  casebook::Wound wound;
  std::vector<VisitEntry> visits;  ///< by date, those with a photo of this wound
  healing::Series series;  ///< read for all wounds soon after opening
  std::vector<casebook::Event> events;  ///< of this wound and of the whole fish, by date; read with the measures
  bool read = false;       ///< the photos' measures are there too: of the fish that is looked at
  const VisitEntry* visit(casebook::Id id) const;
};
struct FishEntry {
  casebook::Fish fish;
  std::vector<WoundEntry> wounds;
  std::optional<casebook::Weight> last_weighed;  ///< read with the measures
  bool read() const;
};
struct DueEntry {
  casebook::Id fish = 0, wound = 0;
  std::string name, what, why;
  int days = 0;     ///< until it may be done; 0 or less: now
  int overdue = 0;  ///< days
};
struct BookModel {
  std::filesystem::path path;
  bool read_only = false;
  std::vector<FishEntry> fish;
  std::vector<DueEntry> due;
  std::optional<std::string> undo, redo;  ///< labels of the book's own steps, where there is one

  const FishEntry* find_fish(casebook::Id id) const;
  const WoundEntry* find_wound(casebook::Id id) const;
  const PhotoEntry* find_photo(casebook::Id id) const;
};

}  // namespace uroko::app
