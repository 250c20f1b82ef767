#pragma once
// The room's helper owns this header; the types below are what the other rooms rely on.
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "uroko/base/date.h"
#include "uroko/healing/series.h"
#include "uroko/measure/measure.h"
#include "uroko/photo/photo.h"

namespace uroko::casebook {

using Id = std::int64_t;

struct Fish { Id id = 0; std::string name, variety; std::optional<double> length_mm; std::string note; };
struct Wound { Id id = 0, fish = 0; std::string name, site, side, traced_margin; };
struct Visit { Id id = 0, fish = 0; DateTime date; photo::DateSource date_from = photo::DateSource::none; std::optional<double> water_c; std::string note; };
struct PhotoRow { Id id = 0, visit = 0, wound = 0; std::string sha256, original_name, extension; int width_px = 0, height_px = 0; };
/// One revision of a photo's measurement; never overwritten. JSON columns hold what is needed to redo it.
struct MeasureRow {
  Id id = 0, photo = 0;
  int revision = 0;
  DateTime made;
  double area_mm2 = 0, u_mm2 = 0, low95 = 0, high95 = 0, perimeter_mm = 0, length_mm = 0, width_mm = 0;
  std::string margin_wkt, margin_from, scale_json, budget_json, bed_json, warnings_json, options_json, program;
};

}  // namespace uroko::casebook
