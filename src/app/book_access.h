#pragma once
#include <memory>
#include <optional>

#include "uroko/app/book_model.h"
#include "uroko/casebook/book.h"
#include "uroko/geometry/polygon.h"
#include "uroko/scale/plane_map.h"

namespace uroko::app {

/// The open case book.
class BookAccess {
 public:
  explicit BookAccess(casebook::Book opened) : book(std::move(opened)) {}
  casebook::Book book;
};

/// Fish, wounds, visits and photos; the wounds' measures and series are left to `read_wound`.
BookModel read_tree(const casebook::Book& book);
void read_wound(const casebook::Book& book, WoundEntry& wound);
BookModel read_model(const casebook::Book& book);  ///< all of it

std::vector<DueEntry> due_entries(const casebook::Book& book);

/// The plane map that a measure was made with; nothing when the row does not hold one.
std::shared_ptr<const scale::PlaneMap> stored_map(const casebook::MeasureRow& row);

/// The stored margin in millimetres on its own reference's plane; nothing when the row does not hold the map.
std::optional<PlaneOutline> outline_mm(const casebook::MeasureRow& row);

}  // namespace uroko::app
