#include <algorithm>
#include <cmath>

#include "healing/working.h"

namespace uroko::healing {

namespace {

constexpr std::size_t kRecent = 4;       // looks the sqrt line is laid through (common practice: the newest tell the pace)
constexpr double kFarthestDays = 365;    // a closure further away than this is not worth stating

struct Crossing { double low = 0, high = 0; bool bounded = false; };

/// Days at which a weighted straight line y = a + b t reaches `target`, 95 % by Fieller's theorem; bounded when the slope is told from 0.
/// `q`: quantile.
Crossing crossing(const std::vector<double>& t, const std::vector<double>& y, const std::vector<double>& variance, double target, double q) {
  const auto line = straight_line(t, y, variance);
  const double mt = line.middle, my = line.level, b = line.slope, va = line.level_var, vb = line.slope_var;
  Crossing out;
  // (my + b x - target)^2 = q^2 (va + x^2 vb) with x = t - mt; a and b are independent about the weighted mean.
  const double level = my - target, lead = b * b - q * q * vb;
  if (!(lead > 0) || b >= 0) return out;
  const double middle = -level * b, tail = level * level - q * q * va;
  const double root = std::sqrt(std::max(middle * middle - lead * tail, 0.0));
  out.low = mt + (middle - root) / lead;
  out.high = mt + (middle + root) / lead;
  out.bounded = true;
  return out;
}

}  // namespace

void find_closure(Working& work) {
  Course& course = work.course;
  if (course.verdict != Verdict::closing) return;
  const int segment = course.segment[course.last];
  std::vector<int> use;
  for (const int i : work.points)
    if (course.segment[i] == segment && i >= course.change_at) use.push_back(i);
  if (use.size() < 3) return;
  const double spread2 = work.trend.spread.mean_square();
  const double q = t_quantile(0.975, std::max(work.trend.rate.dof(), 1.0));
  const double target = std::max(work.options.closed_mm2, 1e-9);
  const double now = course.days[course.last];
  // In days, and where the water is known in degree-days too, run on at the last reading: closing goes roughly with temperature between 5 and 30 degC
  // (Anderson & Roberts 1975, J Fish Biol 7:173), so that cold water since half-way delays the late end.
  const auto line = [&](std::size_t count, bool in_root, bool in_degree_days) {
    std::vector<double> t, y, v;
    for (std::size_t k = use.size() - std::min(count, use.size()); k < use.size(); ++k) {
      const int i = use[k];
      const double area = course.looks[i].area_mm2, relative2 = std::max(work.own[i] * work.own[i] + spread2, 1e-8);
      t.push_back(in_degree_days ? *course.degree_days[i] : course.days[i]);
      y.push_back(in_root ? std::sqrt(area) : std::log(area));
      v.push_back(in_root ? relative2 * area / 4 : relative2);
    }
    return crossing(t, y, v, in_root ? std::sqrt(target) : std::log(target), q);
  };
  // A margin that advances evenly closes soonest, an exponential course latest: the range runs from the one's early end to the other's late end.
  const auto soon = line(kRecent, true, false), late = line(use.size(), false, false);
  if (!soon.bounded || !late.bounded) return;
  double earliest = std::min(soon.low, late.low), latest = std::max(soon.high, late.high);
  const auto newest = std::max_element(work.series.water.begin(), work.series.water.end(), [](const auto& a, const auto& b) { return a.date.days() < b.date.days(); });
  if (course.degree_days[course.last] && newest != work.series.water.end() && newest->water_c - work.options.degree_day_base_c > 1) {
    const double pace = newest->water_c - work.options.degree_day_base_c, here = *course.degree_days[course.last];
    const auto warm_soon = line(kRecent, true, true), warm_late = line(use.size(), false, true);
    if (warm_soon.bounded) earliest = std::min(earliest, now + (warm_soon.low - here) / pace);
    if (warm_late.bounded) latest = std::max(latest, now + (warm_late.high - here) / pace);
  }
  earliest = std::max(earliest, now);
  latest = std::max(latest, now);
  if (latest - now > kFarthestDays) return;
  const long day0 = course.looks.front().date.day_number();
  const double clock = course.looks.front().date.days() - static_cast<double>(day0);
  course.closure = ClosureRange{DateTime::from_day_number(day0 + static_cast<long>(std::floor(clock + earliest))),
                                DateTime::from_day_number(day0 + static_cast<long>(std::ceil(clock + latest)))};
}

}  // namespace uroko::healing
