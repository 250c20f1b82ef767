#pragma once
// What the chart's parts share while it is laid out. Private to the room.
#include <string>
#include <vector>

#include "uroko/report/chart.h"

namespace uroko::report {

struct Box {
  double x0 = 0, y0 = 0, x1 = 0, y1 = 0;
};
inline bool overlap(const Box& a, const Box& b) { return a.x0 < b.x1 && b.x0 < a.x1 && a.y0 < b.y1 && b.y0 < a.y1; }

struct ChartDraft {
  const healing::Course& course;
  const healing::Series& series;
  const ChartOptions& options;
  const Palette& colours;
  Chart chart;
  double text = 9;           ///< points
  bool degree_days = false;  ///< the axis that is really drawn
  std::string axis_note;     ///< why it is not the asked one
  std::vector<Box> taken;    ///< places that labels must leave free
  std::vector<Item> above;   ///< painted after everything else
  /// Days since the first look. What has a date but no time stands at the look of that date, if there is one.
  double day_of(const DateTime& date) const;
  std::size_t unnamed_care = 0;  ///< days of care that found no room for their words
  Scene& scene() { return chart.scene; }
};

/// Puts one line of text at the first of the given left baselines where it covers nothing taken and stays inside `limits`;
/// with `must`, at the one that covers least. Returns whether it was put.
bool put_label(ChartDraft& draft, const std::string& text, double size, Colour colour, bool bold, const std::vector<Point>& lefts, const Box& limits,
               bool must);

/// A round number 1, 2, 2.5 or 5 times a power of ten, at least `least`.
double round_step(double least);

struct Tick {
  double day;
  std::string text;
};
/// Where the time axis is labelled; no two labels touch.
std::vector<Tick> time_ticks(const ChartDraft& draft);
std::string axis_title(const ChartDraft& draft);

/// How tall the care lane will be, given at most `rows` rows of labels; 0 without events.
double care_lane_height(const ChartDraft& draft, int rows);
void draw_care_lane(ChartDraft& draft, double top, int rows);
void draw_water_lane(ChartDraft& draft, double top, double height);

}  // namespace uroko::report
