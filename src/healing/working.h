#pragma once
#include <string>
#include <vector>

#include "healing/trend.h"
#include "uroko/healing/series.h"

namespace uroko::healing {

/// A course while it is being worked out.
struct Working {
  const Series& series;
  const CourseOptions& options;
  Course course;
  std::vector<double> own, common;     ///< relative standard uncertainties of each look; own is 0 when no u is known at all
  SpreadPrior prior;
  std::vector<int> points;             ///< indices of the looks the trend was fitted to
  std::vector<TrendPoint> trend_points;
  Trend trend;
  std::vector<DateTime> unmeasured_debridements;  ///< nothing was measured after them
  bool open_debridement = false;       ///< the last of them comes after the last look
};

/// Sorted, averaged within a day, cut into baseline segments, with degree-days and uncertainties. Throws std::invalid_argument.
void prepare_looks(Working& work);
/// Trend, doubtful looks, baseline and last.
void fit(Working& work);
/// Change, advance, rates between two looks of one segment.
void estimate(Working& work);
void find_rate_changes(Working& work);
void find_closure(Working& work);
void judge(Working& work);
/// Fills reasons.
void explain(Working& work);

/// ln(A_to / A_from) as a mixture over the between-visit spread; between baseline and last it also holds the chance that one of the two is wrong.
Mixture log_ratio(const Working& work, int from, int to);
/// Change in per cent between two looks. Nothing when the first is 0 or not told from it.
std::optional<Estimate> change_between(const Working& work, int from, int to);
/// Margin advance in mm between two looks. `circle`: set when a perimeter had to be taken from a circle of the same area.
Estimate advance_between(const Working& work, int from, int to, bool* circle = nullptr);

bool counts_as_closed(const Look& look, const CourseOptions& options);

}  // namespace uroko::healing
