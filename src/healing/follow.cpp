#include <cmath>

#include "healing/working.h"

namespace uroko::healing {

Course follow(const Series& series, const CourseOptions& options) {
  Working work{series, options, {}, {}, {}, {}, {}, {}, {}, {}, false};
  prepare_looks(work);
  fit(work);
  estimate(work);
  judge(work);
  find_rate_changes(work);
  find_closure(work);
  explain(work);
  return std::move(work.course);
}

std::vector<CurvePoint> curve(const Course& course, Quantity quantity) {
  // The same uncertainties as the verdict's: each look's own and the estimated spread between visits.
  const Series none;
  const CourseOptions options;
  Working work{none, options, {}, {}, {}, {}, {}, {}, {}, {}, false};
  work.course.looks = course.looks;
  const double between = course.between_visit_percent / 100;
  work.trend.spread = {{between}, {1}};
  for (const auto& look : course.looks) {
    const bool known = look.u_mm2 > 0 && look.area_mm2 > 0;
    work.own.push_back(known ? std::sqrt(std::max(look.u_mm2 * look.u_mm2 - look.u_common_mm2 * look.u_common_mm2, 0.0)) / look.area_mm2 : 0);
    work.common.push_back(known ? look.u_common_mm2 / look.area_mm2 : 0);
  }
  std::vector<CurvePoint> out;
  int base = -1;
  for (int i = 0; i < static_cast<int>(course.looks.size()); ++i) {
    const auto& look = course.looks[i];
    if (quantity == Quantity::area_mm2) {
      out.push_back({i, course.days[i], area_estimate(look.area_mm2, look.u_mm2 > 0 ? look.u_mm2 : between * look.area_mm2)});
      continue;
    }
    if (base < 0 || course.segment[i] != course.segment[base]) {
      if (course.doubtful[i]) continue;
      base = i;
      const double at = quantity == Quantity::percent_of_baseline ? 100 : 0;
      out.push_back({i, course.days[i], {at, 0, at, at}});
      continue;
    }
    if (quantity == Quantity::advance_mm) {
      out.push_back({i, course.days[i], advance_between(work, base, i)});
    } else if (const auto change = change_between(work, base, i)) {
      out.push_back({i, course.days[i], {100 + change->value, change->u, 100 + change->low95, 100 + change->high95, change->dof}});
    }
  }
  return out;
}

}  // namespace uroko::healing
