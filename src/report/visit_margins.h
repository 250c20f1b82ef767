#pragma once
#include <filesystem>
#include <optional>
#include <vector>

#include "uroko/casebook/records.h"
#include "uroko/report/sheet.h"

namespace uroko::report {

/// Pixels to the millimetre at the wound: what makes the stored margin as large as the reported area; 0: not known.
double px_per_mm(const casebook::MeasureRow& measure, const ImageOutline& outline);
/// The stored margin in photo pixels; nothing when it cannot be read.
std::optional<ImageOutline> margin_px(const casebook::MeasureRow& measure);

/// A visit's measured margin and the photo that shows the skin round it.
struct VisitMargin {
  DateTime date;
  std::filesystem::path photo;
  casebook::MeasureRow measure;
  PlaneOutline outline_mm;  ///< margin_mm(measure)
};
/// Fills data.margins, oldest first, and how they lie: over each other by the skin of their photos where it tells (`by_skin`), otherwise centred;
/// level with the fish's midline where every photo marks it.
void place_margins(SheetData& data, const std::vector<VisitMargin>& margins, bool by_skin);

}  // namespace uroko::report
