#include "uroko/app/book_model.h"

#include <algorithm>

namespace uroko::app {

const PhotoEntry* VisitEntry::measured() const {
  for (const auto& p : photos)
    if (p.measure) return &p;
  return nullptr;
}

const VisitEntry* WoundEntry::visit(casebook::Id id) const {
  for (const auto& v : visits)
    if (v.visit.id == id) return &v;
  return nullptr;
}

bool FishEntry::read() const {
  return std::all_of(wounds.begin(), wounds.end(), [](const WoundEntry& w) { return w.read; });
}

const FishEntry* BookModel::find_fish(casebook::Id id) const {
  for (const auto& f : fish)
    if (f.fish.id == id) return &f;
  return nullptr;
}

const WoundEntry* BookModel::find_wound(casebook::Id id) const {
  for (const auto& f : fish)
    for (const auto& w : f.wounds)
      if (w.wound.id == id) return &w;
  return nullptr;
}

const PhotoEntry* BookModel::find_photo(casebook::Id id) const {
  for (const auto& f : fish)
    for (const auto& w : f.wounds)
      for (const auto& v : w.visits)
        for (const auto& p : v.photos)
          if (p.row.id == id) return &p;
  return nullptr;
}

}  // namespace uroko::app
