#include "casebook/checks.h"

#include <algorithm>
#include <cmath>

#include "casebook/originals.h"
#include "uroko/base/error.h"
#include "uroko/base/text.h"
#include "uroko/casebook/book.h"

namespace uroko::casebook {

namespace {

[[noreturn]] void bad(const std::string& happened, const std::string& advice) { throw Error(Fault::usage, "value", {}, happened, advice); }

void need_name(const std::string& name, const char* of) {
  if (trim(name).empty()) bad(std::string("the name of the ") + of + " is empty", "give it a name");
}

void within(const std::optional<double>& value, double low, double high, const std::string& name) {
  if (value && !(*value >= low && *value <= high))
    bad(name + " of " + number_text(*value) + " is not between " + number_text(low) + " and " + number_text(high), "check the number and its unit");
}

}  // namespace

const std::vector<std::string>& care_kinds() {
  static const std::vector<std::string> kinds = {"cleaning", "debridement", "topical",         "injection", "sealing", "swab",
                                                 "salt",     "water change", "water treatment", "sedation",  "other"};
  return kinds;
}

void check_row(const Fish& row) {
  need_name(row.name, "fish");
  within(row.length_mm, 1, 2000, "a length in mm");
}
void check_row(const Wound& row) {
  need_name(row.name, "wound");
  within(row.outline_x, 0, 1, "a place along the outline");
  within(row.outline_y, 0, 1, "a place across the outline");
}
void check_row(const Visit& row) { within(row.water_c, kLeastWaterC, kMostWaterC, "a water temperature in °C"); }
void check_row(const PhotoRow& row) {
  if (!is_sha256(row.sha256)) bad("a photo's SHA-256 is not 64 hex digits", "");
  if (!is_extension(row.extension)) bad("a photo's extension is not one", "");
  if (!row.moment.empty() && row.moment != "before" && row.moment != "after") bad("a photo's moment is neither before nor after", "");
}
void check_row(const MeasureRow& row) {
  for (const double x : {row.area_mm2, row.u_mm2, row.perimeter_mm, row.length_mm, row.width_mm})
    if (!(std::isfinite(x) && x >= 0)) bad("a measure holds a number that is not finite and not below 0", "measure the photo again");
  if (!std::isfinite(row.low95) || !std::isfinite(row.high95)) bad("a measure's interval is not finite", "measure the photo again");
}
void check_row(const Event& row) {
  const auto& kinds = care_kinds();
  if (std::find(kinds.begin(), kinds.end(), row.kind) != kinds.end()) return;
  std::string list;
  for (const auto& kind : kinds) list += (list.empty() ? "" : ", ") + kind;
  bad("\"" + row.kind + "\" is not a kind of care event", "use one of: " + list);
}
void check_row(const Weight& row) {
  if (!(std::isfinite(row.grams) && row.grams > 0 && row.grams <= 100000)) bad("a weight of " + number_text(row.grams) + " g is not between 0 and 100 000 g", "check the number and its unit");
}
void check_row(const WaterReading& row) {
  need_name(row.place, "pond or tank");
  within(row.water_c, kLeastWaterC, kMostWaterC, "a water temperature in °C");
}
void check_row(const Swab& row) { within(row.temperature_c, -3, 60, "an incubation temperature in °C"); }
void check_row(const Finding& row) {
  if (!row.letter.empty() && row.letter != "S" && row.letter != "I" && row.letter != "R") bad("\"" + row.letter + "\" is not one of the letters S, I, R", "write the letter as the laboratory did");
}
void check_row(const Prescription& row) {
  if (trim(row.drug).empty()) bad("a prescription without the drug's name", "write it as the vet did");
  for (const auto& [value, name] : {std::pair{row.mg_per_kg, "mg/kg"}, std::pair{row.mg_per_ml, "mg/mL"}, std::pair{row.interval_hours, "interval in hours"}})
    if (value && !(std::isfinite(*value) && *value > 0)) bad(std::string("a prescription's ") + name + " must be above 0", "write it as the vet did");
  if (row.doses && *row.doses < 1) bad("a prescription's number of doses must be above 0", "write it as the vet did");
}

std::string what(const Fish& row) { return "fish " + row.name; }
std::string what(const Wound& row) { return "wound " + row.name; }
std::string what(const Visit& row) { return "visit of " + row.date.iso_date(); }
std::string what(const PhotoRow& row) { return "photo " + row.original_name; }
std::string what(const MeasureRow& row) { return "measure of " + fixed_text(row.area_mm2, 1) + " mm2"; }
std::string what(const Event& row) { return row.kind + " of " + row.date.iso_date(); }
std::string what(const Weight& row) { return "weight of " + number_text(row.grams) + " g"; }
std::string what(const WaterReading& row) { return "water of " + number_text(row.water_c) + " °C"; }
std::string what(const Swab& row) { return "swab of " + row.taken.iso_date(); }
std::string what(const Finding& row) { return "laboratory line " + (row.agent.empty() ? row.organism : row.agent); }
std::string what(const Prescription& row) { return "prescription of " + row.drug; }

}  // namespace uroko::casebook
