#pragma once
#include <optional>
#include <string>
#include <vector>

#include "uroko/base/date.h"
#include "uroko/base/estimate.h"
#include "uroko/bed/bed.h"

namespace uroko::healing {

/// One measured look. `perimeter_mm` <= 0 when unknown.
struct Look {
  DateTime date;
  double area_mm2 = 0;
  double u_mm2 = 0;             ///< standard uncertainty; <= 0: unknown
  double perimeter_mm = 0;
  std::optional<std::array<double, bed::kTissues>> bed;  ///< shares
};

struct Reading {
  DateTime date;
  double water_c = 0;
};

struct CareEvent {
  DateTime date;
  std::string kind;  ///< cleaning, debridement, topical, injection, sealing, swab, water change, salt, sedation, ...
  std::string note;
};

struct Series {
  std::vector<Look> looks;
  std::vector<Reading> water;
  std::vector<CareEvent> events;
};

enum class Verdict { closing, no_detectable_change, enlarging, closed, too_soon };
const char* words(Verdict verdict);  ///< "closing", "no detectable change", "enlarging", "closed", "too soon to tell"

struct ClosureRange {
  DateTime earliest, latest;
};

struct CourseOptions {
  double degree_day_base_c = 0;
  double closed_mm2 = 0.5;  ///< an area at or below it, or not told from 0, counts as closed
};

/// What the series says. Indices refer to `looks` sorted by date.
struct Course {
  std::vector<Look> looks;           ///< sorted, as used
  std::vector<double> days;          ///< since the first look
  std::vector<std::optional<double>> degree_days;
  std::vector<int> segment;          ///< baseline segment of each look; restarts after a debridement
  int baseline = -1;                 ///< index of the look that is the baseline now
  double span_days = 0;              ///< from baseline to the last look
  std::optional<double> span_degree_days;
  std::optional<Estimate> change_percent;       ///< baseline to last
  std::optional<Estimate> change_last_percent;  ///< previous look to last
  std::optional<Estimate> advance_mm_per_day;   ///< perimeter-normalised margin advance
  std::optional<Estimate> rate_percent_per_day;
  std::optional<Estimate> half_time_days;
  double detectable_change_percent = 0;         ///< minimal detectable change of the last look against the baseline
  Verdict verdict = Verdict::too_soon;
  std::vector<std::string> reasons;             ///< plain words
  std::optional<ClosureRange> closure;
  std::vector<Warning> warnings;
};

/// Throws std::invalid_argument for NaN, negative areas, no look at all.
Course follow(const Series& series, const CourseOptions& options = {});

}  // namespace uroko::healing
