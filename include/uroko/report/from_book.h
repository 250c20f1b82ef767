#pragma once
#include <optional>

#include "uroko/casebook/book.h"
#include "uroko/report/sheet.h"

namespace uroko::report {

/// What a person chooses for a sheet; the rest stands in the book.
struct SheetChoices {
  Paper paper = Paper::a4;
  TimeAxis axis = TimeAxis::days;
  std::optional<DateTime> since;     ///< the last sheet's date: care is listed from here on; nothing: all of it
  std::optional<DateTime> made;      ///< nothing: now
  bool photos = true;                ///< load the first and the latest photo
  bool by_skin = true;               ///< lay the margins over each other by the skin in their photos (about 0.3 s a visit, eight at most); needs `photos`
};

/// Everything the sheet prints about one wound. A photo that cannot be read becomes a line of text on the sheet.
/// Throws Error(Fault::usage) when the book has no such wound.
SheetData sheet_data(const casebook::Book& book, casebook::Id wound, const SheetChoices& choices = {});

/// The margin of a stored measure in millimetres, of the reported area: through the stored plane map, or by its mm per px where the map was not
/// kept. Nothing when neither is stored or the margin cannot be read.
std::optional<PlaneOutline> margin_mm(const casebook::MeasureRow& measure);

}  // namespace uroko::report
