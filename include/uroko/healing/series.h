#pragma once
#include <array>
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
  double u_common_mm2 = 0;      ///< the part of u_mm2 that every look of the series shares (one printed card, one body curve); it cancels in ratios
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

/// Relative closing rate (% of the area a day, positive when it closes) before and after a dated event. What came after
/// need not have come from it: one course without a comparison cannot tell.
struct RateChange {
  CareEvent event;
  Estimate before, after;
  Estimate difference;  ///< after - before
};

struct CourseOptions {
  double degree_day_base_c = 0;  ///< degC; a convention, no published value for koi is known
  double closed_mm2 = 0.5;       ///< an area at or below it, or a small one not told from 0, counts as closed
  double longest_gap_days = 7;   ///< water readings further apart are still interpolated, with a warning
  std::optional<DateTime> today;  ///< when given, looks after it are warned of
};

/// What the series says. Indices refer to `looks` sorted by date.
struct Course {
  std::vector<Look> looks;           ///< sorted; several on one day with no debridement between them are averaged to one
  std::vector<std::vector<int>> from;  ///< the indices in Series::looks behind each look
  std::vector<double> days;          ///< since the first look
  std::vector<std::optional<double>> degree_days;
  std::vector<int> segment;          ///< baseline segment of each look; restarts after a debridement
  std::vector<bool> doubtful;        ///< looks that do not fit the others: named, and left out of the estimates
  int baseline = -1;                 ///< index of the look that is the baseline now
  int last = -1;                     ///< index of the last look that is not doubtful; estimates run from baseline to it
  double span_days = 0;              ///< from baseline to the last look
  std::optional<double> span_degree_days;
  std::optional<Estimate> change_percent;       ///< baseline to last; negative when smaller
  std::optional<Estimate> change_last_percent;  ///< previous look to last
  std::optional<Estimate> advance_mm_per_day;   ///< (A1 - A2) / mean perimeter / days; positive when it closes
  std::optional<Estimate> advance_mm_per_degree_day;
  std::optional<Estimate> rate_percent_per_day;         ///< 100 ln(A1/A2) / days; positive when it closes
  std::optional<Estimate> rate_percent_per_degree_day;
  std::optional<Estimate> half_time_days;               ///< ln 2 / rate; absent unless the rate is told from 0
  double detectable_change_percent = 0;         ///< minimal detectable change of the last look against the baseline: the smallest decrease told from 0
  double between_visit_percent = 0;             ///< estimated spread between visits that the measures' own u does not hold
  int change_at = -1;                           ///< look at which the rate changed for good, -1 when none is told
  std::optional<Estimate> trend_percent_per_day;  ///< closing rate of the trend fitted to all looks (after `change_at`, if any): what the verdict tests
  std::vector<RateChange> rate_changes;         ///< treatment events with at least two looks on either side
  Verdict verdict = Verdict::too_soon;
  std::vector<std::string> reasons;             ///< plain words
  std::optional<ClosureRange> closure;
  std::vector<Warning> warnings;
};

/// Throws std::invalid_argument for NaN, negative areas, no look at all.
Course follow(const Series& series, const CourseOptions& options = {});

/// One wound's curve for a chart that compares several.
enum class Quantity { area_mm2, percent_of_baseline, advance_mm };
struct CurvePoint {
  int look = 0;    ///< index in Course::looks
  double day = 0;  ///< since the course's first look
  Estimate value;
};
/// area_mm2: each look with its own interval. percent_of_baseline and advance_mm (cumulative margin advance) run within each
/// baseline segment and start anew, at 100 and 0, after a debridement.
std::vector<CurvePoint> curve(const Course& course, Quantity quantity);

/// Smallest difference of two measures with standard uncertainties ua and ub that is told from 0 at 95 %: 1.96 sqrt(ua^2 + ub^2).
/// With ua = ub = SEM this is the clinical 1.96 sqrt(2) SEM.
double minimal_detectable_change(double ua, double ub);

/// Integral of max(0, water - base) between two dates, degC days, readings joined by straight lines and held for up to three days
/// beyond the first and last. Nothing when the readings do not cover the span. `gap_days`: the longest stretch without a reading.
std::optional<double> degree_days(const std::vector<Reading>& water, const DateTime& from, const DateTime& to, double base_c, double* gap_days = nullptr);

}  // namespace uroko::healing
