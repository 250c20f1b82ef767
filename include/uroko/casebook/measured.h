#pragma once
#include <nlohmann/json_fwd.hpp>

#include "uroko/casebook/records.h"
#include "uroko/measure/measure.h"

namespace uroko::casebook {

/// A measurement as the book keeps it: the numbers, and the plane map, margin, options and program that are needed to do it again.
MeasureRow to_row(Id photo, const scale::PlaneMap& map, const margin::Margin& margin, const measure::Measurement& measurement, const bed::Bed* bed,
                  const measure::MeasureOptions& options);

/// A plane map as the book keeps it, and back: all that is needed to measure with it again without the photo's pixels.
/// The way back throws Error(Fault::book) when a part is missing, not a number or not invertible.
nlohmann::json to_json(const scale::PlaneMap& map);
scale::PlaneMap plane_map_from(const nlohmann::json& json);

/// The way back. Throws Error(Fault::book) when the row's JSON does not hold one (rows imported from a table).
scale::PlaneMap plane_map_of(const MeasureRow& row);
/// The same; nothing for a row that holds none.
std::optional<scale::PlaneMap> plane_map_if_any(const MeasureRow& row);
/// Its margin was found without a hint, and no person has accepted it since.
bool is_proposal(const MeasureRow& row);
measure::MeasureOptions options_of(const MeasureRow& row);

}  // namespace uroko::casebook
