#include <algorithm>
#include <cmath>
#include <numeric>
#include <stdexcept>

#include "healing/working.h"
#include "uroko/base/text.h"

namespace uroko::healing {

namespace {

constexpr double kHoldDays = 3;  // how far a reading is held beyond the first and last

void check(const Series& series) {
  if (series.looks.empty()) throw std::invalid_argument("the series holds no measure");
  for (const auto& look : series.looks) {
    if (!std::isfinite(look.area_mm2) || look.area_mm2 < 0) throw std::invalid_argument("the area of " + look.date.iso() + " is not a number of mm2");
    if (!std::isfinite(look.u_mm2) || !std::isfinite(look.perimeter_mm) || !std::isfinite(look.u_common_mm2) || look.u_common_mm2 < 0)
      throw std::invalid_argument("the uncertainty or perimeter of " + look.date.iso() + " is not a number");
    if (look.u_mm2 > 0 && look.u_common_mm2 > look.u_mm2)
      throw std::invalid_argument("the common part of the uncertainty of " + look.date.iso() + " is larger than the whole");
  }
  for (const auto& reading : series.water)
    if (!std::isfinite(reading.water_c)) throw std::invalid_argument("the water temperature of " + reading.date.iso() + " is not a number");
}

Look averaged(const std::vector<Look>& all, const std::vector<int>& of) {
  Look out = all[of.front()];
  if (of.size() == 1) return out;
  const double n = static_cast<double>(of.size());
  double own2 = 0, common = 0, perimeter = 0;
  bool u_known = true, perimeter_known = true;
  out.area_mm2 = 0;
  int beds = 0;
  std::array<double, bed::kTissues> shares{};
  for (const int i : of) {
    const auto& look = all[i];
    out.area_mm2 += look.area_mm2 / n;
    u_known = u_known && look.u_mm2 > 0;
    perimeter_known = perimeter_known && look.perimeter_mm > 0;
    own2 += (look.u_mm2 * look.u_mm2 - look.u_common_mm2 * look.u_common_mm2) / (n * n);
    common += look.u_common_mm2 / n;
    perimeter += look.perimeter_mm / n;
    if (!look.bed) continue;
    ++beds;
    for (int t = 0; t < bed::kTissues; ++t) shares[t] += (*look.bed)[t];
  }
  out.u_mm2 = u_known ? std::sqrt(std::max(own2, 0.0) + common * common) : 0;
  out.u_common_mm2 = u_known ? common : 0;
  out.perimeter_mm = perimeter_known ? perimeter : 0;
  for (auto& s : shares) s /= std::max(beds, 1);
  out.bed = beds ? std::optional(shares) : std::nullopt;
  return out;
}

bool is_debridement(const CareEvent& event) { return lower_ascii(trim(event.kind)) == "debridement"; }

struct Day {
  long number;
  std::vector<int> before, after;  // indices in Series::looks; `after`: after the debridement of that day
  bool single_undecided = false;
};

double mean_area(const Series& series, const std::vector<int>& of) {
  double sum = 0;
  for (const int i : of) sum += series.looks[i].area_mm2;
  return sum / static_cast<double>(of.size());
}

/// Parts one day's looks into those before and after its debridement. Two without times: debridement enlarges, so the smaller comes first.
Day part_day(const Series& series, long number, std::vector<int> looks, const std::vector<const CareEvent*>& debridements) {
  Day day{number, std::move(looks), {}};
  if (debridements.empty()) return day;
  const auto all_timed = [&] {
    return std::all_of(day.before.begin(), day.before.end(), [&](int i) { return series.looks[i].date.has_time; });
  };
  if (all_timed() && debridements.back()->date.has_time) {
    const double at = debridements.back()->date.days();
    const auto split = std::partition_point(day.before.begin(), day.before.end(), [&](int i) { return series.looks[i].date.days() < at; });
    day.after.assign(split, day.before.end());
    day.before.erase(split, day.before.end());
    return day;
  }
  if (day.before.size() == 1) {
    day.single_undecided = true;
    return day;
  }
  if (!all_timed())
    std::stable_sort(day.before.begin(), day.before.end(), [&](int a, int b) { return series.looks[a].area_mm2 < series.looks[b].area_mm2; });
  std::size_t cut = 1;
  for (std::size_t i = 1; i < day.before.size(); ++i) {
    const auto step = [&](std::size_t k) { return series.looks[day.before[k]].area_mm2 - series.looks[day.before[k - 1]].area_mm2; };
    if (step(i) > step(cut)) cut = i;
  }
  day.after.assign(day.before.begin() + static_cast<std::ptrdiff_t>(cut), day.before.end());
  day.before.resize(cut);
  return day;
}

}  // namespace

std::optional<double> degree_days(const std::vector<Reading>& water, const DateTime& from, const DateTime& to, double base_c, double* gap_days) {
  if (gap_days) *gap_days = 0;
  if (water.empty()) return std::nullopt;
  std::vector<std::pair<double, double>> at;
  at.reserve(water.size());
  for (const auto& reading : water) at.push_back({reading.date.days(), reading.water_c - base_c});
  std::sort(at.begin(), at.end());
  // Readings of the same moment are averaged.
  std::vector<std::pair<double, double>> knots;
  for (std::size_t i = 0; i < at.size();) {
    std::size_t end = i;
    double sum = 0;
    for (; end < at.size() && at[end].first == at[i].first; ++end) sum += at[end].second;
    knots.push_back({at[i].first, sum / static_cast<double>(end - i)});
    i = end;
  }
  const double start = from.days(), stop = to.days();
  if (knots.front().first > start + kHoldDays || knots.back().first < stop - kHoldDays) return std::nullopt;
  if (knots.front().first > start) knots.insert(knots.begin(), {start, knots.front().second});
  if (knots.back().first < stop) knots.push_back({stop, knots.back().second});
  double sum = 0;
  for (std::size_t i = 0; i + 1 < knots.size(); ++i) {
    const auto [ta, ya] = knots[i];
    const auto [tb, yb] = knots[i + 1];
    const double a = std::max(ta, start), b = std::min(tb, stop);
    if (b <= a) continue;
    if (gap_days) *gap_days = std::max(*gap_days, tb - ta);
    const double slope = (yb - ya) / (tb - ta), fa = ya + slope * (a - ta), fb = ya + slope * (b - ta);
    // Trapezoid, or the triangle above the base where the line crosses it.
    if (fa >= 0 && fb >= 0) sum += (fa + fb) / 2 * (b - a);
    else if (fa > 0 || fb > 0) sum += std::max(fa, fb) * std::max(fa, fb) / std::abs(slope) / 2;
  }
  return sum;
}

void prepare_looks(Working& work) {
  const Series& series = work.series;
  Course& course = work.course;
  check(series);

  std::vector<int> order(series.looks.size());
  std::iota(order.begin(), order.end(), 0);
  std::stable_sort(order.begin(), order.end(), [&](int a, int b) {
    const auto &la = series.looks[a], &lb = series.looks[b];
    if (la.date.days() != lb.date.days()) return la.date.days() < lb.date.days();
    return la.area_mm2 < lb.area_mm2;
  });
  std::vector<const CareEvent*> debridements;
  for (const auto& event : series.events)
    if (is_debridement(event)) debridements.push_back(&event);
  std::stable_sort(debridements.begin(), debridements.end(), [](auto* a, auto* b) { return a->date.days() < b->date.days(); });

  std::vector<Day> days;
  for (std::size_t i = 0, d = 0; i < order.size();) {
    const long number = series.looks[order[i]].date.day_number();
    std::vector<int> looks;
    for (; i < order.size() && series.looks[order[i]].date.day_number() == number; ++i) looks.push_back(order[i]);
    std::vector<const CareEvent*> that_day;
    while (d < debridements.size() && debridements[d]->date.day_number() < number) ++d;
    for (auto k = d; k < debridements.size() && debridements[k]->date.day_number() == number; ++k) that_day.push_back(debridements[k]);
    days.push_back(part_day(series, number, std::move(looks), that_day));
  }
  // One look only on the day of a debridement, order unknown: before or after it, whichever puts the enlargement across the debridement.
  for (std::size_t i = 0; i < days.size(); ++i) {
    if (!days[i].single_undecided) continue;
    const double here = series.looks[days[i].before.front()].area_mm2;
    const auto& earlier = i ? (days[i - 1].after.empty() ? days[i - 1].before : days[i - 1].after) : days[i].after;
    const double previous = i && !earlier.empty() ? mean_area(series, earlier) : -1;
    const bool has_next = i + 1 < days.size();
    const double next = has_next ? mean_area(series, days[i + 1].before.empty() ? days[i + 1].after : days[i + 1].before) : -1;
    // The same with ratios here/previous >= next/here, zeros allowed.
    const bool after = previous < 0 ? !has_next || next <= here : has_next ? here * here >= next * previous : here >= previous;
    if (after) std::swap(days[i].before, days[i].after);
    course.warnings.push_back({"debridement-day", "the one measure of " + DateTime::from_day_number(days[i].number).iso_date() + " is taken as made " +
                                                      (after ? "after" : "before") + " the debridement of that day; note the times, or measure before and after"});
  }

  int segment = 0;
  std::size_t d = 0;
  bool restart = false, any = false;
  const auto add = [&](const std::vector<int>& of) {
    if (restart && any) ++segment;
    restart = false;
    any = true;
    course.looks.push_back(averaged(series.looks, of));
    course.from.push_back(of);
    course.segment.push_back(segment);
  };
  for (const auto& day : days) {
    for (; d < debridements.size() && debridements[d]->date.day_number() < day.number; ++d) restart = true;
    if (!day.before.empty()) add(day.before);
    for (; d < debridements.size() && debridements[d]->date.day_number() == day.number; ++d) restart = true;
    if (!day.after.empty()) add(day.after);
  }
  work.open_debridement = d < debridements.size() || restart;
  if (work.open_debridement) work.unmeasured_debridements.push_back(debridements.back()->date);

  for (const auto& of : course.from)
    if (of.size() > 1)
      course.warnings.push_back({"same-day", std::to_string(of.size()) + " measures of " + series.looks[of.front()].date.iso_date() + " are averaged"});
  for (const auto& look : course.looks) {
    course.days.push_back(look.date.days() - course.looks.front().date.days());
    double gap = 0;
    course.degree_days.push_back(degree_days(series.water, course.looks.front().date, look.date, work.options.degree_day_base_c, &gap));
    if (&look == &course.looks.back() && gap > work.options.longest_gap_days && course.degree_days.back())
      course.warnings.push_back({"water-gap", "no water temperature was noted for " + fixed_text(gap, 0) + " days on end; degree-days are interpolated there"});
  }
  if (!series.water.empty() && course.looks.size() > 1 && !course.degree_days.back())
    course.warnings.push_back({"water-missing", "the water temperatures do not cover the course from its first to its last measure; no degree-days"});
  if (work.options.today)
    for (const auto& look : course.looks)
      if (look.date.day_number() > work.options.today->day_number())
        course.warnings.push_back({"future", "the measure of " + look.date.iso_date() + " lies in the future; check the date"});
  course.doubtful.assign(course.looks.size(), false);

  // A look without an uncertainty gets the middle one of the others; when none has any, the spread is learned from the looks themselves.
  std::vector<double> known;
  work.own.assign(course.looks.size(), 0);
  work.common.assign(course.looks.size(), 0);
  std::vector<std::size_t> unknown;
  for (std::size_t i = 0; i < course.looks.size(); ++i) {
    const auto& look = course.looks[i];
    if (look.u_mm2 <= 0) {
      unknown.push_back(i);
    } else if (look.area_mm2 > 0) {
      work.own[i] = std::sqrt(std::max(look.u_mm2 * look.u_mm2 - look.u_common_mm2 * look.u_common_mm2, 0.0)) / look.area_mm2;
      work.common[i] = look.u_common_mm2 / look.area_mm2;
      known.push_back(work.own[i]);
    }
  }
  work.prior.own_unknown = known.empty();
  if (!known.empty()) {
    std::nth_element(known.begin(), known.begin() + static_cast<std::ptrdiff_t>(known.size() / 2), known.end());
    for (const auto i : unknown) work.own[i] = known[known.size() / 2];
  }
  if (!unknown.empty())
    course.warnings.push_back({"no-uncertainty", known.empty() ? "the areas come without uncertainty; a spread of about 10 % between measures is assumed until the visits show it"
                                                               : std::to_string(unknown.size()) + " of the areas come without uncertainty; the middle one of the others is assumed"});
}

}  // namespace uroko::healing
