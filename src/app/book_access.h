#pragma once
#include <memory>
#include <optional>

#include "uroko/app/book_model.h"
#include "uroko/casebook/book.h"
#include "uroko/geometry/polygon.h"
#include "uroko/scale/plane_map.h"

namespace uroko::app {

/// The open case book: two connections, of which the window's thread uses neither.
struct BookAccess {
  BookAccess(casebook::Book opened) : writing(std::move(opened)), reading(writing.reader()), folder(writing.folder()) {}
  casebook::Book writing;  ///< the writing worker's
  casebook::Book reading;  ///< the reading worker's: looking goes on while a write waits
  const std::filesystem::path folder;
};

/// Fish, wounds, visits and photos, and what undo would take back; measures and series are left to the following.
BookModel read_tree(const casebook::Book& book);
/// Measures and series of all wounds of the fish, and its last weighing.
void read_fish(const casebook::Book& book, FishEntry& fish);
FishEntry* fish_in(BookModel& model, casebook::Id id);  ///< nullptr: it is not there

std::vector<DueEntry> due_entries(const casebook::Book& book);

/// Carries out one write. Where the disk failed at it, what is there is found out by opening the book again: the write is there whole or
/// not at all. Throws what it was refused with.
void carry_out(casebook::Book& book, const std::function<void(casebook::Book&)>& work);

/// The plane map that a measure was made with; nothing when the row does not hold one.
std::shared_ptr<const scale::PlaneMap> stored_map(const casebook::MeasureRow& row);

/// The stored margin in millimetres on its own reference's plane; nothing when the row does not hold the map.
std::optional<PlaneOutline> outline_mm(const casebook::MeasureRow& row);

}  // namespace uroko::app
