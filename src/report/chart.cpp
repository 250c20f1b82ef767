#include "uroko/report/chart.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "report/chart_parts.h"
#include "uroko/base/text.h"
#include "uroko/report/words.h"

namespace uroko::report {

double Chart::x_of_day(double day) const {
  if (knots.size() < 2) return x0 + (day - day0) / (day1 - day0) * (x1 - x0);
  std::size_t i = 1;
  while (i + 1 < knots.size() && day > knots[i].first) ++i;
  const auto& [a, xa] = knots[i - 1];
  const auto& [b, xb] = knots[i];
  return xa + (day - a) / (b - a) * (xb - xa);
}

double ChartDraft::day_of(const DateTime& date) const {
  const auto& looks = course.looks;
  if (!date.has_time)
    for (std::size_t i = 0; i < looks.size(); ++i)
      if (looks[i].date.day_number() == date.day_number()) return course.days[i];
  return date.days() - looks.front().date.days();
}

bool put_label(ChartDraft& draft, const std::string& text, double size, Colour colour, bool bold, const std::vector<Point>& lefts, const Box& limits,
               bool must) {
  const double w = text_width(text, size, bold);
  int best = 1 << 20;
  Point chosen{};
  Box place{};
  for (const auto& p : lefts) {
    const Box box{p.x - 1.5, p.y - size * 0.82, p.x + w + 1.5, p.y + size * 0.26};
    const bool inside = box.x0 >= limits.x0 && box.x1 <= limits.x1 && box.y0 >= limits.y0 && box.y1 <= limits.y1;
    const int hits =
        static_cast<int>(std::count_if(draft.taken.begin(), draft.taken.end(), [&](const Box& b) { return overlap(b, box); })) + (inside ? 0 : 100);
    if (hits < best) {
      best = hits;
      chosen = p;
      place = box;
    }
    if (best == 0) break;
  }
  if (best > 0 && !must) return false;
  draft.above.push_back(Label{chosen, text, size, colour, Anchor::left, bold, 0});
  draft.taken.push_back(place);
  return true;
}

namespace {

// A line as small boxes, so that labels keep off it.
void take_line(ChartDraft& d, Point a, Point b) {
  const int n = std::max(1, static_cast<int>(std::ceil(std::hypot(b.x - a.x, b.y - a.y) / 4)));
  for (int i = 0; i <= n; ++i) {
    const double x = a.x + (b.x - a.x) * i / n, y = a.y + (b.y - a.y) * i / n;
    d.taken.push_back({x - 1, y - 1, x + 1, y + 1});
  }
}

double upper95(const healing::Look& look) { return area_estimate(look.area_mm2, std::max(0.0, look.u_mm2)).high95; }

void choose_days(ChartDraft& d) {
  Chart& c = d.chart;
  const double last = d.course.days.back();
  double low = 0, high = last;
  for (const auto& e : d.series.events) {
    const double day = d.day_of(e.date);
    low = std::min(low, day);
    high = std::max(high, day);
  }
  for (const auto& w : d.series.water) {
    const double day = d.day_of(w.date);
    low = std::min(low, day);
    high = std::max(high, day);
  }
  // What lies far outside the course of the looks is cut off rather than squeezing it.
  const double span = std::max(last, 4.0);
  low = std::max(low, -0.25 * span);
  high = std::min(high, last + 0.35 * span);
  if (d.course.closure) {
    const double earliest = d.day_of(d.course.closure->earliest), latest = d.day_of(d.course.closure->latest);
    high = std::max({high, std::min(latest, last + 0.8 * span), std::min(earliest + 0.1 * span, last + 1.2 * span)});
  }
  if (d.options.from) low = std::min(low, d.day_of(*d.options.from));
  if (d.options.until) high = std::max(high, d.day_of(*d.options.until));
  high = std::max(high, low + 4);
  const double pad = 0.025 * (high - low);
  c.day0 = low - pad;
  c.day1 = high + pad;
}

void choose_knots(ChartDraft& d) {
  Chart& c = d.chart;
  if (d.options.axis == TimeAxis::degree_days) {
    const auto& sums = d.course.degree_days;
    const bool known = sums.size() == d.course.days.size() && std::all_of(sums.begin(), sums.end(), [](const auto& s) { return s.has_value(); });
    d.degree_days = known && sums.size() > 1 && *sums.back() > *sums.front() && d.course.days.back() > d.course.days.front();
    if (!d.degree_days) d.axis_note = known ? "" : " (no degree-days: water temperatures are missing)";
  }
  c.knots = {{c.day0, c.x0}, {c.day1, c.x1}};
  if (!d.degree_days) return;
  const auto& days = d.course.days;
  const auto& sums = d.course.degree_days;
  const double rate = (*sums.back() - *sums.front()) / (days.back() - days.front());
  const double low = *sums.front() + (c.day0 - days.front()) * rate, high = *sums.back() + (c.day1 - days.back()) * rate;
  const auto x_of = [&](double sum) { return c.x0 + (sum - low) / (high - low) * (c.x1 - c.x0); };
  c.knots = {{c.day0, c.x0}};
  for (std::size_t i = 0; i < days.size(); ++i) {
    const double x = x_of(*sums[i]);
    if (days[i] > c.knots.back().first && x >= c.knots.back().second) c.knots.push_back({days[i], x});
  }
  if (c.day1 > c.knots.back().first) c.knots.push_back({c.day1, c.x1});
}

void draw_area_axis(ChartDraft& d, double step, double low_edge) {
  auto& items = d.scene().items;
  for (double v = 0; v <= d.chart.area_top_mm2 * (1 + 1e-9); v += step) {
    const double y = d.chart.y_of_area(v);
    items.push_back(
        PolyLine{{{d.chart.x0, y}, {d.chart.x1, y}}, v == 0 ? d.colours.quiet : d.colours.hairline, v == 0 ? 0.8 : 0.6, Dash::solid, false});
    items.push_back(
        Label{{d.chart.x0 - 6, y + d.text * 0.35}, number_text(std::round(v * 1000) / 1000), d.text, d.colours.quiet, Anchor::right, false, 0});
  }
  items.push_back(Label{{low_edge, d.chart.y1 - d.text * 1.1}, "wound area, mm²", d.text, d.colours.ink, Anchor::left, false, 0});
}

void draw_closure(ChartDraft& d) {
  if (!d.course.closure) return;
  Chart& c = d.chart;
  const auto& range = *d.course.closure;
  const double first = d.day_of(range.earliest), last = d.day_of(range.latest);
  const double xa = c.x_of_day(std::min(first, c.day1)), xb = c.x_of_day(std::min(last, c.day1));
  Colour wash = d.colours.closure;
  wash.a = 22;
  if (xb - xa > 0.5) {
    const std::vector<Point> band{{xa, c.y1}, {xb, c.y1}, {xb, c.y0}, {xa, c.y0}};
    c.scene.items.push_back(Fill{band, wash, Hatch::none});
    wash.a = 120;
    for (const double x : {xa, xb}) c.scene.items.push_back(PolyLine{{{x, c.y1}, {x, c.y0}}, wash, 0.7, Dash::solid, false});
  }
  const Point from = c.looks.back();
  const auto ray = [&](double day) {
    Point to{c.x_of_day(std::min(day, c.day1)), c.y0};
    if (day > c.day1) to.y = from.y + (c.y0 - from.y) * (c.day1 - d.course.days.back()) / (day - d.course.days.back());
    c.scene.items.push_back(PolyLine{{from, to}, d.colours.closure, 1.1, Dash::dotted, false});
    take_line(d, from, to);
  };
  if (first > d.course.days.back()) ray(first);
  if (last > d.course.days.back()) ray(last);
  const bool years = range.earliest.year != range.latest.year;
  const std::string text = "closed " + short_date(range.earliest, years) + " to " + short_date(range.latest, years) + " if it goes on so";
  const double size = d.text * 0.92, w = text_width(text, size);
  const double left = std::clamp((xa + xb) / 2 - w / 2, c.x0, std::max(c.x0, c.x1 - w));
  const std::vector<Point> places{{left, c.y1 - d.text * 0.4}, {c.x1 - w, c.y1 - d.text * 0.4}};
  put_label(d, text, size, d.colours.closure, false, places, {0, 0, c.scene.width, c.y0}, true);
}

void draw_restarts(ChartDraft& d) {
  Chart& c = d.chart;
  const auto& looks = d.course.looks;
  for (std::size_t i = 1; i < looks.size(); ++i) {
    if (d.course.segment[i] == d.course.segment[i - 1]) continue;
    double day = (d.course.days[i - 1] + d.course.days[i]) / 2;
    for (const auto& e : d.series.events)
      if (e.kind == "debridement" && e.date.day_number() >= looks[i - 1].date.day_number() && e.date.day_number() <= looks[i].date.day_number())
        day = std::clamp(d.day_of(e.date), d.course.days[i - 1], d.course.days[i]);
    const double x = c.x_of_day(day);
    c.scene.items.push_back(PolyLine{{{x, c.y1}, {x, c.y0}}, d.colours.restart, 1, Dash::dashed, false});
    take_line(d, {x, c.y1}, {x, c.y0});
    const std::string text = "restart";
    const double size = d.text * 0.92, w = text_width(text, size);
    std::vector<Point> places;
    for (double y = c.y1 + d.text * 0.9; y < c.y0 - d.text; y += d.text) {
      places.push_back({x + 4, y});
      places.push_back({x - 4 - w, y});
    }
    put_label(d, text, size, d.colours.restart, false, places, {c.x0, c.y1, c.x1 + 6, c.y0}, false);
  }
}

void draw_curve(ChartDraft& d) {
  Chart& c = d.chart;
  const auto& looks = d.course.looks;
  auto& items = c.scene.items;
  const double spacing = looks.size() > 1 ? (c.looks.back().x - c.looks.front().x) / static_cast<double>(looks.size() - 1) : 1e3;
  const double radius = (spacing < 6 ? 1.6 : spacing < 12 ? 2.4 : 3.2) * d.text / 9, cap = std::min(3.0, spacing / 4);
  const int now = d.course.segment.empty() ? 0 : d.course.segment.back();
  for (std::size_t i = 0; i < looks.size(); ++i) {
    const Point p = c.looks[i];
    if (looks[i].u_mm2 > 0) {
      const double top = c.y_of_area(std::min(upper95(looks[i]), c.area_top_mm2)),
                   bottom = c.y_of_area(area_estimate(looks[i].area_mm2, looks[i].u_mm2).low95);
      items.push_back(PolyLine{{{p.x, top}, {p.x, bottom}}, d.colours.area, 1, Dash::solid, false});
      if (cap > 1) {
        items.push_back(PolyLine{{{p.x - cap, top}, {p.x + cap, top}}, d.colours.area, 1, Dash::solid, false});
        items.push_back(PolyLine{{{p.x - cap, bottom}, {p.x + cap, bottom}}, d.colours.area, 1, Dash::solid, false});
      }
      d.taken.push_back({p.x - cap - 1, top - 1, p.x + cap + 1, bottom + 1});
    }
    d.taken.push_back({p.x - radius - 1, p.y - radius - 1, p.x + radius + 1, p.y + radius + 1});
  }
  for (std::size_t i = 1; i < looks.size(); ++i)
    if (d.course.segment[i] == d.course.segment[i - 1]) {
      const bool firm = d.course.doubtful.size() != looks.size() || (!d.course.doubtful[i] && !d.course.doubtful[i - 1]);
      items.push_back(
          PolyLine{{c.looks[i - 1], c.looks[i]}, d.colours.area, d.course.segment[i] == now ? 1.7 : 1.1, firm ? Dash::solid : Dash::dotted, false});
      take_line(d, c.looks[i - 1], c.looks[i]);
    }
  for (std::size_t i = 0; i < looks.size(); ++i) {
    const bool current = d.course.segment[i] == now;
    const bool doubtful = i < d.course.doubtful.size() && d.course.doubtful[i];
    items.push_back(
        Disc{c.looks[i], radius, current && !doubtful ? d.colours.area : d.colours.paper, doubtful ? d.colours.quiet : d.colours.area, 1.3});
    if (doubtful) {  // a look that does not fit the others is crossed out and stays in sight
      const Point p = c.looks[i];
      const double r = radius * 0.7;
      items.push_back(PolyLine{{{p.x - r, p.y - r}, {p.x + r, p.y + r}}, d.colours.quiet, 1.1, Dash::solid, false});
      items.push_back(PolyLine{{{p.x - r, p.y + r}, {p.x + r, p.y - r}}, d.colours.quiet, 1.1, Dash::solid, false});
    }
    if (static_cast<int>(i) == d.options.selected) items.push_back(Disc{c.looks[i], radius + 3, {0, 0, 0, 0}, d.colours.ink, 1.2});
  }
}

std::vector<Point> around(Point p, double w, double size) {
  std::vector<Point> places;
  for (double far : {7.0, 14.0, 24.0, 36.0})
    for (const Point& q : {Point{p.x + 7, p.y - far + 2},
                           {p.x + 7, p.y + far + size * 0.6 - 2},
                           {p.x - 7 - w, p.y - far + 2},
                           {p.x - 7 - w, p.y + far + size * 0.6 - 2},
                           {p.x - w / 2, p.y - far - 4},
                           {p.x - w / 2, p.y + far + size}})
      places.push_back(q);
  return places;
}

void name_looks(ChartDraft& d) {
  Chart& c = d.chart;
  const auto& looks = d.course.looks;
  const Box limits{c.x0, c.y1 - d.text * 0.2, c.scene.width - 2, c.y0 - 1};
  const auto& last = looks.back();
  const Estimate e = area_estimate(last.area_mm2, std::max(0.0, last.u_mm2));
  const std::string value = mm2_text(last.area_mm2) + " mm²" + (last.u_mm2 > 0 ? " (" + range_text(e) + ")" : "");
  put_label(d, value, d.text, d.colours.ink, true, around(c.looks.back(), text_width(value, d.text, true), d.text), limits, true);
  const double size = d.text * 0.92;
  if (d.course.baseline >= 0 && d.course.baseline + 1 < static_cast<int>(looks.size())) {
    const auto i = static_cast<std::size_t>(d.course.baseline);
    const std::string text = "baseline " + mm2_text(looks[i].area_mm2);
    put_label(d, text, size, d.colours.quiet, false, around(c.looks[i], text_width(text, size), size), limits, false);
  }
  if (const int s = d.options.selected; s >= 0 && s + 1 < static_cast<int>(looks.size()) && s != d.course.baseline) {
    const auto i = static_cast<std::size_t>(s);
    const std::string text = mm2_text(looks[i].area_mm2);
    put_label(d, text, size, d.colours.ink, false, around(c.looks[i], text_width(text, size), size), limits, false);
  }
}

}  // namespace

Chart healing_chart(const healing::Course& course, const healing::Series& series, const ChartOptions& options) {
  if (course.looks.empty() || course.days.size() != course.looks.size() || course.segment.size() != course.looks.size())
    throw std::invalid_argument("a chart needs a course with at least one look");
  ChartDraft d{course, series, options, palette(options.theme), {}, options.text_size, false, {}, {}, {}, 0};
  Chart& c = d.chart;
  c.scene.width = std::max(160.0, options.width);
  c.scene.height = std::max(80.0, options.height);
  const double W = c.scene.width, H = c.scene.height, t = d.text;
  if (options.ground) c.scene.items.push_back(Fill{{{0, 0}, {W, 0}, {W, H}, {0, H}}, d.colours.paper, Hatch::none});

  double top_mm2 = 0;
  for (const auto& look : course.looks) top_mm2 = std::max(top_mm2, upper95(look));
  // One wild interval must not flatten the curve: the top never exceeds twice the largest area.
  double largest = 0;
  for (const auto& look : course.looks) largest = std::max(largest, look.area_mm2);
  top_mm2 = std::min(top_mm2, std::max(2 * largest, 1.0));
  if (!(top_mm2 > 0)) top_mm2 = 1;

  c.x0 = std::max({text_width(number_text(std::ceil(top_mm2)), t), text_width("water", t * 0.92), text_width("0.75", t)}) + 14;
  c.x1 = W - t * 1.6;
  choose_days(d);
  choose_knots(d);

  c.y1 = t * 2.4;
  const double axis_height = t * (H >= 150 ? 3.0 : 1.7);
  double water_height = series.water.empty() ? 0 : std::clamp(H * 0.13, t * 3.2, t * 5.5);
  int rows = 4;
  const double least_plot = std::max(0.42 * H, 4 * t);
  const auto plot_height = [&](double care) { return H - c.y1 - axis_height - water_height - care - (care > 0 || water_height > 0 ? 6 : 0); };
  double care = care_lane_height(d, rows);
  while (rows > 0 && care > 0 && plot_height(care) < least_plot) care = care_lane_height(d, --rows);
  if (plot_height(care) < least_plot) water_height = 0;
  if (plot_height(care) < least_plot) care = 0;
  c.y0 = c.y1 + plot_height(care);
  const double step = round_step(top_mm2 / std::clamp((c.y0 - c.y1) / (t * 3.2), 1.0, 6.0));
  c.area_top_mm2 = std::ceil(top_mm2 / step - 1e-9) * step;
  // Half a step less where nothing reaches into it, so that the curve fills its space.
  if (c.area_top_mm2 - top_mm2 > 0.55 * step) c.area_top_mm2 -= 0.5 * step;

  for (std::size_t i = 0; i < course.looks.size(); ++i) c.looks.push_back({c.x_of_day(course.days[i]), c.y_of_area(course.looks[i].area_mm2)});

  const double lanes_bottom = H - axis_height;
  for (const auto& tick : time_ticks(d)) {
    const double x = c.x_of_day(tick.day);
    c.scene.items.push_back(PolyLine{{{x, c.y1}, {x, lanes_bottom + 3}}, d.colours.hairline, 0.6, Dash::solid, false});
    const double half = text_width(tick.text, t) / 2;
    c.scene.items.push_back(
        Label{{std::clamp(x, half + 1, W - half - 1), lanes_bottom + 3 + t}, tick.text, t, d.colours.quiet, Anchor::middle, false, 0});
  }
  draw_area_axis(d, step, std::max(2.0, c.x0 - 6 - text_width(number_text(c.area_top_mm2), t)));
  draw_closure(d);
  draw_restarts(d);
  draw_curve(d);
  name_looks(d);
  double lane = c.y0 + 6;
  if (care > 0) {
    draw_care_lane(d, lane, rows);
    lane += care;
  }
  if (water_height > 0) {
    c.scene.items.push_back(PolyLine{{{c.x0, lane}, {c.x1, lane}}, d.colours.hairline, 0.6, Dash::solid, false});
    draw_water_lane(d, lane, lanes_bottom - lane);
  }
  if (H >= 150) {
    const std::string title = axis_title(d),
                      note = std::to_string(d.unnamed_care) + (d.unnamed_care == 1 ? " day" : " days") + " of care shown by signs only";
    c.scene.items.push_back(Label{{c.x1, H - t * 0.45}, title, t * 0.92, d.colours.quiet, Anchor::right, false, 0});
    if (d.unnamed_care > 0 && text_width(note, t * 0.8) + text_width(title, t * 0.92) + 12 < c.x1 - c.x0)
      c.scene.items.push_back(Label{{c.x0, H - t * 0.45}, note, t * 0.8, d.colours.quiet, Anchor::left, false, 0});
  }
  c.scene.items.push_back(PolyLine{{{c.x0, lanes_bottom}, {c.x1, lanes_bottom}}, d.colours.quiet, 0.6, Dash::solid, false});
  for (auto& item : d.above) c.scene.items.push_back(std::move(item));
  return std::move(d.chart);
}

}  // namespace uroko::report
