#include <algorithm>
#include <cmath>

#include "report/chart_parts.h"
#include "uroko/base/text.h"
#include "uroko/report/words.h"

namespace uroko::report {

double round_step(double least) {
  const double power = std::pow(10.0, std::floor(std::log10(least)));
  for (double m : {1.0, 2.0, 2.5, 5.0})
    if (m * power >= least * (1 - 1e-9)) return m * power;
  return 10 * power;
}

namespace {

std::vector<Tick> day_ticks(const ChartDraft& d) {
  const Chart& c = d.chart;
  const double room = text_width("0000", d.text) + 14;
  const double per_day = (c.x1 - c.x0) / (c.day1 - c.day0);
  double step = 0;
  for (double s : {1.0, 2.0, 7.0, 14.0, 28.0, 56.0, 112.0})
    if (s * per_day >= room) {
      step = s;
      break;
    }
  if (step == 0) step = round_step(room / per_day);
  std::vector<Tick> ticks;
  for (double day = std::ceil(c.day0 / step) * step; day <= c.day1 + 1e-9; day += step) ticks.push_back({day, number_text(std::round(day) + 0.0)});
  return ticks;
}

DateTime civil(int year, int month) {
  DateTime date;
  date.year = year;
  date.month = month;
  return date;
}

std::vector<Tick> date_ticks(const ChartDraft& d) {
  const Chart& c = d.chart;
  const double room = text_width("30 Mar", d.text) + 16;
  const double per_day = (c.x1 - c.x0) / (c.day1 - c.day0);
  const DateTime first = d.course.looks.front().date;
  const double fraction = first.days() - static_cast<double>(first.day_number());  // midnight stands that far left of the look
  int step = 0;
  for (int s : {1, 2, 7, 14, 28})
    if (s * per_day >= room) {
      step = s;
      break;
    }
  std::vector<Tick> ticks;
  int last_year = 0;
  const auto add = [&](const DateTime& date) {
    const double day = static_cast<double>(date.day_number() - first.day_number()) - fraction;
    if (day < c.day0 - 1e-9 || day > c.day1 + 1e-9) return;
    ticks.push_back({day, short_date(date, last_year != 0 && date.year != last_year)});
    last_year = date.year;
  };
  if (step) {
    const long from = static_cast<long>(std::floor(c.day0 / step)) * step;
    for (long day = from; day <= static_cast<long>(c.day1) + 1; day += step) add(DateTime::from_day_number(first.day_number() + day));
    return ticks;
  }
  // Months, quarters, years.
  int months = 1;
  for (int m : {1, 2, 3, 6, 12, 24, 60, 120}) {
    months = m;
    if (m * 30.4 * per_day >= room + 12) break;
  }
  DateTime at = DateTime::from_day_number(first.day_number() + static_cast<long>(std::floor(c.day0)));
  at = civil(at.year, 1);
  while (at.day_number() - first.day_number() <= static_cast<long>(c.day1) + 1) {
    add(at);
    const int next = at.month - 1 + months;
    at = civil(at.year + next / 12, next % 12 + 1);
  }
  return ticks;
}

// Ticks at round degree-days: the days where the accumulated sum reaches them (linear between looks, as the axis is).
std::vector<Tick> degree_day_ticks(const ChartDraft& d) {
  const Chart& c = d.chart;
  const auto& days = d.course.days;
  const auto& sums = d.course.degree_days;
  const double rate = (*sums.back() - *sums.front()) / (days.back() - days.front());
  const auto day_at = [&](double sum) {
    if (sum <= *sums.front()) return days.front() + (sum - *sums.front()) / rate;
    for (std::size_t i = 1; i < sums.size(); ++i)
      if (sum <= *sums[i] && *sums[i] > *sums[i - 1]) return days[i - 1] + (days[i] - days[i - 1]) * (sum - *sums[i - 1]) / (*sums[i] - *sums[i - 1]);
    return days.back() + (sum - *sums.back()) / rate;
  };
  const double low = *sums.front() + (c.day0 - days.front()) * rate, high = *sums.back() + (c.day1 - days.back()) * rate;
  const double step = round_step((high - low) * (text_width("00000", d.text) + 14) / (c.x1 - c.x0));
  std::vector<Tick> ticks;
  for (double sum = std::ceil(low / step) * step; sum <= high; sum += step)
    ticks.push_back({day_at(sum), number_text(std::round(sum * 1000) / 1000 + 0.0)});
  return ticks;
}

}  // namespace

std::vector<Tick> time_ticks(const ChartDraft& draft) {
  if (draft.degree_days) return degree_day_ticks(draft);
  return draft.options.axis == TimeAxis::dates ? date_ticks(draft) : day_ticks(draft);
}

std::string axis_title(const ChartDraft& draft) {
  const std::string since = short_date(draft.course.looks.front().date, true);
  if (draft.degree_days) return "degree-days since " + since;
  if (draft.options.axis == TimeAxis::dates) return "from " + since;
  return "days since " + since + draft.axis_note;
}

}  // namespace uroko::report
