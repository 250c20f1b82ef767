#include <algorithm>
#include <cmath>
#include <map>

#include "report/chart_parts.h"
#include "uroko/base/text.h"

namespace uroko::report {
namespace {

// Which event speaks for a day on which several were logged.
int weight(const std::string& kind) {
  static const char* const order[] = {"debridement", "injection", "swab", "cleaning", "topical", "sealing", "water change", "salt", "sedation"};
  for (int i = 0; i < 9; ++i)
    if (kind == order[i]) return 9 - i;
  return 0;
}

void polygon(ChartDraft& d, Point at, const std::vector<Point>& shape, Colour colour, bool filled) {
  std::vector<Point> points;
  points.reserve(shape.size());
  for (const auto& p : shape) points.push_back({at.x + p.x, at.y + p.y});
  d.scene().items.push_back(Fill{points, filled ? colour : d.colours.paper, Hatch::none});
  d.scene().items.push_back(PolyLine{points, colour, 1.1, Dash::solid, true});
}

// Kinds differ in shape and filling, not in colour alone.
void glyph(ChartDraft& d, const std::string& kind, Point at) {
  const Colour ink = d.colours.ink;
  const std::vector<Point> square{{-2.6, -2.6}, {2.6, -2.6}, {2.6, 2.6}, {-2.6, 2.6}}, diamond{{0, -3.6}, {3.6, 0}, {0, 3.6}, {-3.6, 0}};
  const std::vector<Point> down{{-3.6, -2.9}, {3.6, -2.9}, {0, 3.4}}, up{{-3.6, 2.9}, {3.6, 2.9}, {0, -3.4}};
  if (kind == "debridement")
    polygon(d, at, down, d.colours.restart, true);
  else if (kind == "injection")
    polygon(d, at, diamond, ink, true);
  else if (kind == "swab")
    polygon(d, at, up, ink, false);
  else if (kind == "topical")
    polygon(d, at, square, ink, false);
  else if (kind == "sealing")
    polygon(d, at, square, ink, true);
  else if (kind == "water change")
    polygon(d, at, diamond, d.colours.water, false);
  else if (kind == "salt")
    polygon(d, at, diamond, d.colours.water, true);
  else if (kind == "cleaning")
    d.scene().items.push_back(Disc{at, 3, d.colours.paper, ink, 1.1});
  else
    d.scene().items.push_back(Disc{at, 1.8, ink, ink, 0});
}

struct Day {
  double x = 0;
  std::vector<std::string> kinds;  ///< most telling first, each once
};

std::vector<Day> days_of_care(const ChartDraft& d) {
  std::map<long, Day> days;
  for (const auto& event : d.series.events) {
    const double day = d.day_of(event.date);
    if (day < d.chart.day0 || day > d.chart.day1) continue;
    auto& place = days[event.date.day_number()];
    if (place.kinds.empty()) place.x = d.chart.x_of_day(day);
    if (std::find(place.kinds.begin(), place.kinds.end(), event.kind) == place.kinds.end()) place.kinds.push_back(event.kind);
  }
  std::vector<Day> out;
  for (auto& [number, day] : days) {
    std::stable_sort(day.kinds.begin(), day.kinds.end(), [](const auto& a, const auto& b) { return weight(a) > weight(b); });
    out.push_back(std::move(day));
  }
  return out;
}

struct Placed {
  double x, left, right;
  int row;
  std::size_t day;
  std::string text;
};

std::string joined(const std::vector<std::string>& kinds, std::size_t most) {
  std::string text;
  for (std::size_t i = 0; i < std::min(most, kinds.size()); ++i) text += (i ? ", " : "") + kinds[i];
  if (kinds.size() > most) text += " +" + std::to_string(kinds.size() - most);
  return text;
}

std::vector<Placed> hang_in_order(const ChartDraft& d, const std::vector<Day>& days, int rows, const std::vector<std::size_t>& order) {
  const double size = d.text * 0.92, most_right = d.chart.scene.width - 3;
  std::vector<Placed> placed;
  for (std::size_t i : order) {
    bool done = false;
    for (std::size_t most : {days[i].kinds.size(), std::size_t{1}}) {
      const std::string text = fitted(joined(days[i].kinds, most), size, 0.4 * (d.chart.x1 - d.chart.x0));
      const double w = text_width(text, size) + 3;
      for (bool to_right : {true, false}) {
        const double left = to_right ? days[i].x - 2 : days[i].x - w, right = to_right ? days[i].x + w : days[i].x + 2;
        if (right > most_right || left < d.chart.x0 - 4) continue;
        for (int row = 0; row < rows && !done; ++row) {
          const bool free = std::none_of(placed.begin(), placed.end(), [&](const Placed& p) {
            return (p.row == row && left < p.right + 4 && p.left < right + 4) || (p.row > row && p.x > left - 2 && p.x < right + 2) ||
                   (p.row < row && days[i].x > p.left - 2 && days[i].x < p.right + 2);
          });
          if (!free) continue;
          placed.push_back({days[i].x, left, right, row, i, text});
          done = true;
        }
        if (done) break;
      }
      if (done || days[i].kinds.size() == 1) break;
    }
  }
  return placed;
}

// Labels hang right of a leader below their day's sign. No two labels meet and no leader runs through a label: the highest row without
// either is taken, days from the right first. Where that leaves a debridement unnamed, debridements go first.
std::vector<Placed> hang_labels(const ChartDraft& d, const std::vector<Day>& days, int rows) {
  std::vector<std::size_t> order;
  for (std::size_t i = days.size(); i-- > 0;) order.push_back(i);
  const auto restart = [&](std::size_t i) { return days[i].kinds.front() == "debridement"; };
  const auto restarts_named = [&](const std::vector<Placed>& placed) {
    return std::count_if(placed.begin(), placed.end(), [&](const Placed& p) { return restart(p.day); });
  };
  auto plain = hang_in_order(d, days, rows, order);
  std::stable_sort(order.begin(), order.end(), [&](auto a, auto b) { return restart(a) > restart(b); });
  auto first = hang_in_order(d, days, rows, order);
  return restarts_named(first) > restarts_named(plain) ? first : plain;
}

}  // namespace

double care_lane_height(const ChartDraft& draft, int rows) {
  const auto days = days_of_care(draft);
  if (days.empty()) return 0;
  int used = 0;
  for (const auto& p : hang_labels(draft, days, rows)) used = std::max(used, p.row + 1);
  return draft.text * 1.6 + used * draft.text * 1.3 + 3;
}

void draw_care_lane(ChartDraft& d, double top, int rows) {
  const auto days = days_of_care(d);
  const auto placed = hang_labels(d, days, rows);
  const double line = top + d.text * 0.95, size = d.text * 0.92;
  auto& items = d.scene().items;
  items.push_back(Label{{d.chart.x0 - 6, line + d.text * 0.35}, "care", size, d.colours.quiet, Anchor::right, false, 0});
  items.push_back(PolyLine{{{d.chart.x0, line}, {d.chart.x1, line}}, d.colours.hairline, 0.8, Dash::solid, false});
  for (const auto& p : placed) {
    const double baseline = line + d.text * (1.55 + 1.3 * p.row);
    items.push_back(PolyLine{{{p.x, line}, {p.x, baseline + 1}}, d.colours.quiet, 0.5, Dash::solid, false});
    const bool restart = days[p.day].kinds.front() == "debridement", to_right = p.right > p.x + 3;
    items.push_back(Label{{p.x + (to_right ? 3 : -3), baseline},
                          p.text,
                          size,
                          restart ? d.colours.restart : d.colours.ink,
                          to_right ? Anchor::left : Anchor::right,
                          false,
                          0});
  }
  for (const auto& day : days) glyph(d, day.kinds.front(), {day.x, line});
  d.unnamed_care = days.size() - placed.size();
}

void draw_water_lane(ChartDraft& d, double top, double height) {
  std::vector<healing::Reading> readings;
  for (const auto& r : d.series.water)
    if (const double day = d.day_of(r.date); day >= d.chart.day0 && day <= d.chart.day1) readings.push_back(r);
  std::stable_sort(readings.begin(), readings.end(), [](const auto& a, const auto& b) { return before(a.date, b.date); });
  auto& items = d.scene().items;
  const double size = d.text * 0.92;
  items.push_back(Label{{d.chart.x0 - 6, top + height / 2 + d.text * 0.1}, "water", size, d.colours.quiet, Anchor::right, false, 0});
  items.push_back(Label{{d.chart.x0 - 6, top + height / 2 + d.text * 1.2}, "°C", size, d.colours.quiet, Anchor::right, false, 0});
  if (readings.empty()) return;
  double low = readings[0].water_c, high = low;
  for (const auto& r : readings) {
    low = std::min(low, r.water_c);
    high = std::max(high, r.water_c);
  }
  const double middle = (low + high) / 2, span = std::max(4.0, high - low);
  const double inner_top = top + d.text * 1.25, inner_bottom = top + height - 5;
  const auto y_of = [&](double c) { return inner_bottom - (c - (middle - span / 2)) / span * (inner_bottom - inner_top); };
  std::vector<Point> points;
  points.reserve(readings.size());
  for (const auto& r : readings) points.push_back({d.chart.x_of_day(d.day_of(r.date)), y_of(r.water_c)});
  std::vector<Point> under = points;
  under.push_back({points.back().x, top + height});
  under.push_back({points.front().x, top + height});
  Colour wash = d.colours.water;
  wash.a = 28;
  if (points.size() > 1) {
    items.push_back(Fill{under, wash, Hatch::none});
    items.push_back(PolyLine{points, d.colours.water, 1.3, Dash::solid, false});
  }
  const bool crowded = points.size() > 1 && (points.back().x - points.front().x) / static_cast<double>(points.size() - 1) < 7;
  if (!crowded)
    for (const auto& p : points) items.push_back(Disc{p, 1.7, d.colours.water, d.colours.water, 0});
  // The extremes and the ends carry their values.
  std::vector<std::size_t> named;
  const auto by_value = [](const auto& a, const auto& b) { return a.water_c < b.water_c; };
  named.push_back(readings.size() - 1);
  named.push_back(static_cast<std::size_t>(std::min_element(readings.begin(), readings.end(), by_value) - readings.begin()));
  named.push_back(static_cast<std::size_t>(std::max_element(readings.begin(), readings.end(), by_value) - readings.begin()));
  named.push_back(0);
  std::vector<std::pair<double, double>> used;
  for (std::size_t i : named) {
    const std::string text = fixed_text(readings[i].water_c, 1);
    const double w = text_width(text, size);
    double left = points[i].x - w / 2;
    left = std::clamp(left, d.chart.x0 + 1, std::max(d.chart.x0 + 1, d.chart.scene.width - 3 - w));
    if (std::any_of(used.begin(), used.end(), [&](const auto& u) { return left < u.second + 5 && u.first < left + w + 5; })) continue;
    used.push_back({left, left + w});
    items.push_back(Label{{left, points[i].y - 4.5}, text, size, d.colours.ink, Anchor::left, false, 0});
  }
}

}  // namespace uroko::report
