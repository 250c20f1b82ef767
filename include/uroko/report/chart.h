#pragma once
#include "uroko/healing/series.h"
#include "uroko/report/scene.h"

namespace uroko::report {

enum class TimeAxis { days, degree_days, dates };
enum class Theme { light, dark };

struct ChartOptions {
  double width = 720, height = 360;  ///< points
  TimeAxis axis = TimeAxis::days;
  Theme theme = Theme::light;
  double text_size = 9;
  int selected = -1;  ///< look shown filled
};

/// The healing curve: areas with intervals, baseline restarts, closure range, water temperature lane, care events lane.
/// `x_of_day` maps days since the first look to x, so that a photo strip can hang on the same axis.
struct Chart {
  Scene scene;
  double x0 = 0, x1 = 0;      ///< plot's left and right
  double day0 = 0, day1 = 0;  ///< days since the first look at x0 and x1
  std::vector<Point> looks;   ///< where each look's marker stands
  double x_of_day(double day) const { return x0 + (day - day0) / (day1 - day0) * (x1 - x0); }
};
Chart healing_chart(const healing::Course& course, const healing::Series& series, const ChartOptions& options = {});

/// Bytes of the scene as a file of its own. `extension`: ".svg", ".png" (2 px a point), ".pdf". Throws Error(Fault::usage) for others.
std::string paint(const Scene& scene, const std::string& extension);

}  // namespace uroko::report
