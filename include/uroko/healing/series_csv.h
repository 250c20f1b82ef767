#pragma once
#include <filesystem>
#include <string_view>
#include <vector>

#include "uroko/base/estimate.h"
#include "uroko/healing/series.h"

namespace uroko::healing {

/// Reads a series: a heading with `date` (ISO 8601) and `area_mm2`, and if present `u_mm2`, `u_common_mm2`, `perimeter_mm`, `water_c`, `event`, in any
/// order; other columns are left alone and named in `warnings`. A row may hold a measure, a reading, an event (several parted by ;) or all of them.
/// Throws Error(Fault::input) naming the file and the line for anything it cannot take as it stands. A file with a heading and
/// no row is an empty series.
Series read_series_csv(const std::filesystem::path& file, std::vector<Warning>* warnings = nullptr);
/// The same from text; `file` is only named in errors.
Series parse_series_csv(std::string_view text, const std::filesystem::path& file, std::vector<Warning>* warnings = nullptr);

}  // namespace uroko::healing
