// A healing series as a table: looks and events with finite numbers, or one Error that names a line.
#include <cmath>

#include "scratch.h"
#include "uroko/base/csv.h"
#include "uroko/base/error.h"
#include "uroko/healing/series_csv.h"

using namespace uroko;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const auto text = fuzz::text(data, size);
  try {
    const auto rows = parse_csv(text);
    std::string again;
    for (const auto& row : rows) again += csv_row(row);
    fuzz::must(parse_csv(again) == rows);
  } catch (const std::invalid_argument&) {
  }
  try {
    std::vector<Warning> warnings;
    const auto series = healing::parse_series_csv(text, "fuzz.csv", &warnings);
    for (const auto& look : series.looks) fuzz::must(std::isfinite(look.area_mm2) && look.area_mm2 >= 0);
  } catch (const Error& e) {
    fuzz::must(e.fault() == Fault::input && std::string(e.what()).find('\n') == std::string::npos);
  }
  return 0;
}
