#include <algorithm>
#include <cmath>
#include <numbers>

#include "healing/working.h"

namespace uroko::healing {

namespace {

constexpr double kDoubtful = 0.90;       // posterior from which a look is named as not fitting
constexpr double kRoughRelative = 0.20;  // relative uncertainty from which ln A is too skew and the ratio is taken by Fieller's theorem

double half_width(const Mixture& mixture) { return (mixture.quantile(0.975) - mixture.quantile(0.025)) / 2; }

/// Standard uncertainty of sqrt A, finite down to A = 0.
double u_root(double area, double relative) {
  const double u = area * relative;
  return u / (2 * std::sqrt(std::max(area, std::max(u, 1e-12))));
}

/// Of a look: its own relative uncertainty, for a zero area from its absolute one.
double own_mm2(const Working& work, int i) {
  const auto& look = work.course.looks[i];
  return look.area_mm2 > 0 ? work.own[i] * look.area_mm2 : std::max(look.u_mm2, 0.0);
}

Estimate divided(const Estimate& e, double by, double factor = 1) {
  const double f = factor / by;
  return {e.value * f, e.u * std::abs(f), e.low95 * f, e.high95 * f, e.dof};
}

}  // namespace

bool counts_as_closed(const Look& look, const CourseOptions& options) {
  if (look.area_mm2 <= options.closed_mm2) return true;
  return look.u_mm2 > 0 && look.area_mm2 <= 10 * options.closed_mm2 && look.area_mm2 - 1.96 * look.u_mm2 <= 0;
}

double minimal_detectable_change(double ua, double ub) { return t_quantile(0.975, INFINITY) * std::hypot(ua, ub); }

/// Of the two looks that the change runs between, one may be wrong without it being sure enough to name it. Zero for other pairs.
double chance_astray(const Working& work, int from, int to) {
  if (from != work.course.baseline || to != work.course.last || from == to) return 0;
  double chance = 0;
  for (const auto& p : work.trend.first_astray.parts) chance += p.weight;
  for (const auto& p : work.trend.last_astray.parts) chance += p.weight;
  return chance;
}

Mixture log_ratio(const Working& work, int from, int to) {
  const auto& looks = work.course.looks;
  Mixture out;
  const double value = std::log(looks[to].area_mm2 / looks[from].area_mm2);
  const double own = work.own[from] * work.own[from] + work.own[to] * work.own[to];
  const double astray = chance_astray(work, from, to);
  for (std::size_t k = 0; k < work.trend.spread.tau.size(); ++k)
    out.parts.push_back({(1 - astray) * work.trend.spread.weight[k], value, own + 2 * work.trend.spread.tau[k] * work.trend.spread.tau[k]});
  if (astray > 0)
    for (const auto* paths : {&work.trend.first_astray, &work.trend.last_astray}) out.parts.insert(out.parts.end(), paths->parts.begin(), paths->parts.end());
  return out;
}

std::optional<Estimate> change_between(const Working& work, int from, int to) {
  const auto &a = work.course.looks[from], &b = work.course.looks[to];
  if (a.area_mm2 <= 0) return std::nullopt;
  const double spread2 = work.trend.spread.mean_square();
  const double ua = own_mm2(work, from), ub = own_mm2(work, to);
  const double va = ua * ua + spread2 * a.area_mm2 * a.area_mm2, vb = ub * ub + spread2 * b.area_mm2 * b.area_mm2;
  const double ratio = b.area_mm2 / a.area_mm2;
  const bool rough = b.area_mm2 <= 0 || va > std::pow(kRoughRelative * a.area_mm2, 2) || vb > std::pow(kRoughRelative * b.area_mm2, 2);
  if (!rough) {
    const auto mixture = log_ratio(work, from, to);
    return Estimate{100 * (ratio - 1), 100 * ratio * std::sqrt(mixture.variance()), 100 * std::expm1(mixture.quantile(0.025)), 100 * std::expm1(mixture.quantile(0.975)), mixture.dof()};
  }
  // Fieller 1954: the ratios R with (B - R A)^2 <= q^2 (vb + R^2 va).
  const double q = t_quantile(0.975, INFINITY), lead = a.area_mm2 * a.area_mm2 - q * q * va;
  if (lead <= 0) return std::nullopt;
  const double middle = a.area_mm2 * b.area_mm2, tail = b.area_mm2 * b.area_mm2 - q * q * vb;
  const double root = std::sqrt(std::max(middle * middle - lead * tail, 0.0));
  const double u = std::sqrt(vb + ratio * ratio * va) / a.area_mm2;
  return Estimate{100 * (ratio - 1), 100 * u, 100 * (std::max((middle - root) / lead, 0.0) - 1), 100 * ((middle + root) / lead - 1), INFINITY};
}

Estimate advance_between(const Working& work, int from, int to, bool* circle) {
  const auto &a = work.course.looks[from], &b = work.course.looks[to];
  const double ra = std::sqrt(a.area_mm2), rb = std::sqrt(b.area_mm2);
  // A missing perimeter is taken at the other look's shape, or a circle's.
  const double round = 2 * std::sqrt(std::numbers::pi);
  double shape = round;
  if (a.perimeter_mm > 0 && ra > 0) shape = a.perimeter_mm / ra;
  else if (b.perimeter_mm > 0 && rb > 0) shape = b.perimeter_mm / rb;
  else if (circle) *circle = true;
  const double pa = a.perimeter_mm > 0 ? a.perimeter_mm : shape * ra, pb = b.perimeter_mm > 0 ? b.perimeter_mm : shape * rb;
  const double mean = (pa + pb) / 2;
  Estimate out;
  out.value = mean > 0 ? (a.area_mm2 - b.area_mm2) / mean : 0;
  // With P = c sqrt(A) the advance is 2 (sqrt A1 - sqrt A2) / c; an error of the perimeter goes in step with the area's.
  const double c = ra + rb > 0 ? 2 * mean / (ra + rb) : round;
  const double astray = chance_astray(work, from, to);
  Mixture mixture;
  for (std::size_t k = 0; k < work.trend.spread.tau.size(); ++k) {
    const double tau = work.trend.spread.tau[k];
    const double ua = a.area_mm2 > 0 ? u_root(a.area_mm2, std::hypot(work.own[from], tau)) : std::sqrt(own_mm2(work, from)) / 2;
    const double ub = b.area_mm2 > 0 ? u_root(b.area_mm2, std::hypot(work.own[to], tau)) : std::sqrt(own_mm2(work, to)) / 2;
    const double shared = out.value * std::max(work.common[from], work.common[to]) / 2;
    mixture.parts.push_back({(1 - astray) * work.trend.spread.weight[k], out.value, 4 / (c * c) * (ua * ua + ub * ub) + shared * shared});
  }
  if (astray > 0) {
    for (const auto& p : work.trend.first_astray.parts) {
      const double root = rb * std::exp(-p.mean / 2);
      mixture.parts.push_back({p.weight, 2 * (root - rb) / c, p.var * root * root / (c * c)});
    }
    for (const auto& p : work.trend.last_astray.parts) {
      const double root = ra * std::exp(p.mean / 2);
      mixture.parts.push_back({p.weight, 2 * (ra - root) / c, p.var * root * root / (c * c)});
    }
  }
  out.u = std::sqrt(mixture.variance());
  out.low95 = mixture.quantile(0.025);
  out.high95 = mixture.quantile(0.975);
  out.dof = mixture.dof();
  return out;
}

void fit(Working& work) {
  Course& course = work.course;
  const int n = static_cast<int>(course.looks.size());
  // A look that does not fit is taken out and the rest is looked at again, at most one in five.
  for (int round = 0; round <= n / 5 + 1; ++round) {
    work.points.clear();
    work.trend_points.clear();
    for (int i = 0; i < n; ++i) {
      if (course.doubtful[i] || course.looks[i].area_mm2 <= work.options.closed_mm2) continue;
      work.points.push_back(i);
      work.trend_points.push_back({course.days[i], course.looks[i].area_mm2, work.own[i], course.segment[i]});
    }
    work.trend = fit_trend(work.trend_points, work.prior);
    if (work.trend.doubt.empty() || round == n / 5 + 1) break;
    const auto worst = std::max_element(work.trend.doubt.begin(), work.trend.doubt.end());
    if (*worst < kDoubtful) break;
    course.doubtful[work.points[worst - work.trend.doubt.begin()]] = true;
  }
  course.between_visit_percent = 100 * std::sqrt(work.trend.spread.mean_square());
  const int segment = course.segment.back();
  for (int i = 0; i < n; ++i) {
    if (course.doubtful[i]) continue;
    if (course.baseline < 0 && course.segment[i] == segment) course.baseline = i;
    course.last = i;
  }
  if (course.baseline < 0) course.baseline = course.last;
  if (work.trend.accepted_break) course.change_at = work.points[work.trend.break_at];
  if (!work.trend.rate.parts.empty()) {
    const auto& rate = work.trend.rate;
    course.trend_percent_per_day = Estimate{-100 * rate.mean(), 100 * std::sqrt(rate.variance()), -100 * rate.quantile(0.975), -100 * rate.quantile(0.025), rate.dof()};
  }
}

void estimate(Working& work) {
  Course& course = work.course;
  const int from = course.baseline, to = course.last;
  const auto &a = course.looks[from], &b = course.looks[to];
  const Mixture same = [&] {
    Mixture m;
    for (std::size_t k = 0; k < work.trend.spread.tau.size(); ++k)
      m.parts.push_back({work.trend.spread.weight[k], 0, work.own[from] * work.own[from] + work.own[to] * work.own[to] + 2 * std::pow(work.trend.spread.tau[k], 2)});
    return m;
  }();
  course.detectable_change_percent = -100 * std::expm1(-half_width(same));
  if (from == to) return;
  course.span_days = course.days[to] - course.days[from];
  course.change_percent = change_between(work, from, to);
  int previous = to - 1;
  while (previous >= 0 && course.doubtful[previous]) --previous;
  if (previous >= from) course.change_last_percent = change_between(work, previous, to);
  if (course.degree_days[to] && course.degree_days[from]) course.span_degree_days = *course.degree_days[to] - *course.degree_days[from];
  if (course.span_days < 0.5) return;  // a rate over hours says nothing
  bool circle = false;
  const auto advance = advance_between(work, from, to, &circle);
  course.advance_mm_per_day = divided(advance, course.span_days);
  if (circle) course.warnings.push_back({"no-perimeter", "no perimeter was given; the margin advance is that of a circle of the same area"});
  const bool per_degree_day = course.span_degree_days && *course.span_degree_days > 0;
  if (per_degree_day) course.advance_mm_per_degree_day = divided(advance, *course.span_degree_days);
  if (a.area_mm2 <= work.options.closed_mm2 || b.area_mm2 <= work.options.closed_mm2) return;
  const auto ratio = log_ratio(work, from, to);
  const double value = std::log(a.area_mm2 / b.area_mm2);
  const Estimate closed_log{value, std::sqrt(ratio.variance()), -ratio.quantile(0.975), -ratio.quantile(0.025), ratio.dof()};
  course.rate_percent_per_day = divided(closed_log, course.span_days, 100);
  if (per_degree_day) course.rate_percent_per_degree_day = divided(closed_log, *course.span_degree_days, 100);
  if (closed_log.low95 > 0) {
    const double t = course.span_days * std::numbers::ln2;
    course.half_time_days = Estimate{t / value, t / (value * value) * closed_log.u, t / closed_log.high95, t / closed_log.low95, closed_log.dof};
  }
}

}  // namespace uroko::healing
