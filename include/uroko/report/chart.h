#pragma once
#include <optional>
#include <utility>

#include "uroko/healing/series.h"
#include "uroko/report/paint.h"
#include "uroko/report/scene.h"

namespace uroko::report {

enum class TimeAxis { days, degree_days, dates };

struct ChartOptions {
  double width = 720, height = 360;  ///< points; at least 160 x 80. Lanes are left out where the height does not allow them
  TimeAxis axis = TimeAxis::days;    ///< degree_days falls back to days (and says so) when a look has none
  Theme theme = Theme::light;
  double text_size = 9;
  int selected = -1;   ///< look shown filled
  bool ground = true;  ///< paint the paper
  std::optional<DateTime> from, until;  ///< the axis reaches at least these, for photos that have no measure yet
};

/// The healing curve: areas with intervals, baseline restarts, closure range, water temperature lane, care events lane.
/// `x_of_day` maps days since the first look to x, so that a photo strip can hang on the same axis.
struct Chart {
  Scene scene;
  double x0 = 0, x1 = 0;      ///< plot's left and right
  double y0 = 0, y1 = 0;      ///< y of area 0 and of the plot's top
  double day0 = 0, day1 = 0;  ///< days since the first look at x0 and x1
  double area_top_mm2 = 0;    ///< area at the plot's top
  std::vector<Point> looks;   ///< where each look's marker stands
  std::vector<std::pair<double, double>> knots;  ///< (day, x), increasing: straight lines between them
  double x_of_day(double day) const;
  double y_of_area(double mm2) const { return y0 + (y1 - y0) * mm2 / area_top_mm2; }
};
Chart healing_chart(const healing::Course& course, const healing::Series& series, const ChartOptions& options = {});

}  // namespace uroko::report
