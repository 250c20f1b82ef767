#include "healing/trend.h"

#include <algorithm>
#include <array>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <numbers>
#include <numeric>

namespace uroko::healing {

namespace {

// Priors, all relative (per cent of the area / 100) and per day. Calibrated by tests/bench/healing.cpp.
constexpr double kSlopeSpread = 0.05;      // closing rates seen in ulcers: some per cent a day
constexpr double kBreakPrior = 0.25;       // a course changes its rate for good
constexpr double kBreakAccepted = 0.80;    // posterior from which the change is told
constexpr double kWrongPrior = 0.0125;      // a look is grossly wrong (scale misread, margin of something else)
constexpr double kWrongSpread = 0.5;       // by about this much in ln A
constexpr double kSpreadScale = 0.015;      // between-visit term when u is known: half-t, 3 degrees of freedom
constexpr double kSpreadUnknown = 0.10;    // whole spread when no u is known: scaled inverse chi-square
constexpr double kSpreadUnknownDof = 6;
constexpr std::array<double, 14> kTauKnown{0, 0.005, 0.01, 0.015, 0.02, 0.025, 0.03, 0.04, 0.05, 0.065, 0.085, 0.12, 0.18, 0.28};
constexpr std::array<double, 14> kTauUnknown{0.02, 0.03, 0.04, 0.05, 0.06, 0.07, 0.08, 0.09, 0.10, 0.12, 0.14, 0.17, 0.22, 0.32};
constexpr std::size_t kTaus = kTauKnown.size();
constexpr std::size_t kMostBreaks = 24, kMostSuspects = 12;

double normal_below(double z) { return 0.5 * std::erfc(-z / std::numbers::sqrt2); }

double log_prior(double tau, const SpreadPrior& prior) {
  if (!prior.own_unknown) return -2 * std::log1p(tau * tau / (3 * kSpreadScale * kSpreadScale));  // t3 density, up to a constant
  return -(kSpreadUnknownDof + 1) * std::log(tau) - kSpreadUnknownDof * kSpreadUnknown * kSpreadUnknown / (2 * tau * tau);
}

Spread prior_spread(const SpreadPrior& prior) {
  const auto& grid = prior.own_unknown ? kTauUnknown : kTauKnown;
  Spread out;
  double sum = 0;
  for (std::size_t k = 0; k < kTaus; ++k) {
    const double low = k ? (grid[k] + grid[k - 1]) / 2 : (prior.own_unknown ? grid[0] / 2 : 0);
    const double high = k + 1 < kTaus ? (grid[k] + grid[k + 1]) / 2 : grid[k] * 1.25;
    out.tau.push_back(grid[k]);
    out.weight.push_back((high - low) * std::exp(log_prior(grid[k], prior)));
    sum += out.weight.back();
  }
  for (auto& w : out.weight) w /= sum;
  return out;
}

/// One straight or once-bent line with known variances: log marginal likelihood and the posterior of its slopes.
struct Line {
  double log_evidence = 0;
  double before = 0, before_var = 0, after = 0, after_var = 0;  // slopes; equal when not bent
  double difference = 0, difference_var = 0, covariance = 0;
};

struct Columns {
  const std::vector<double>& day;
  const std::vector<double>& y;
  const std::vector<double>& weight;  // 1 / variance
  const std::vector<int>& segment;
};

/// Flat prior on each segment's intercept, N(0, slope_var) on each slope. `bend`: day of the change of slope.
Line fit_line(const Columns& c, bool bent, double bend, double slope_var) {
  const std::size_t n = c.y.size();
  double log_weights = 0, sxx = 0, szz = 0, sxz = 0, sxy = 0, szy = 0, syy = 0, log_intercepts = 0;
  // Columns are centred within each segment, which takes the intercepts out. Segments are runs, as points are in time order.
  for (std::size_t first = 0; first < n;) {
    std::size_t end = first;
    double w = 0, mx = 0, mz = 0, my = 0;
    for (; end < n && c.segment[end] == c.segment[first]; ++end) {
      const double x = bent ? std::min(c.day[end], bend) : c.day[end], z = bent ? std::max(c.day[end] - bend, 0.0) : 0;
      w += c.weight[end];
      mx += c.weight[end] * x;
      mz += c.weight[end] * z;
      my += c.weight[end] * c.y[end];
    }
    mx /= w;
    mz /= w;
    my /= w;
    log_intercepts += std::log(w / (2 * std::numbers::pi));
    for (std::size_t i = first; i < end; ++i) {
      const double x = (bent ? std::min(c.day[i], bend) : c.day[i]) - mx, z = (bent ? std::max(c.day[i] - bend, 0.0) : 0) - mz, y = c.y[i] - my;
      const double wi = c.weight[i];
      log_weights += std::log(wi / (2 * std::numbers::pi));
      sxx += wi * x * x;
      sxz += wi * x * z;
      szz += wi * z * z;
      sxy += wi * x * y;
      szy += wi * z * y;
      syy += wi * y * y;
    }
    first = end;
  }
  Line line;
  const double p = 1 / slope_var;
  line.log_evidence = 0.5 * (log_weights - log_intercepts);
  if (!bent) {
    const double precision = sxx + p;
    line.after = line.before = sxy / precision;
    line.after_var = line.before_var = 1 / precision;
    line.log_evidence += 0.5 * (-std::log(precision * slope_var) - syy + sxy * sxy / precision);
    return line;
  }
  const double a = sxx + p, b = szz + p, det = a * b - sxz * sxz;
  line.before = (b * sxy - sxz * szy) / det;
  line.after = (a * szy - sxz * sxy) / det;
  line.before_var = b / det;
  line.after_var = a / det;
  line.covariance = -sxz / det;
  line.difference = line.after - line.before;
  line.difference_var = (a + b + 2 * sxz) / det;
  line.log_evidence += 0.5 * (-std::log(det * slope_var * slope_var) - syy + line.before * sxy + line.after * szy);
  return line;
}

std::vector<int> spaced(int low, int high, std::size_t most) {
  std::vector<int> out;
  const int count = high - low + 1;
  for (int i = 0; i < count; ++i)
    if (static_cast<std::size_t>(count) <= most || i % ((count + static_cast<int>(most) - 1) / static_cast<int>(most)) == 0) out.push_back(low + i);
  return out;
}

/// Points that stand furthest from the middle of their neighbours.
std::vector<int> suspects(const std::vector<TrendPoint>& points) {
  const int n = static_cast<int>(points.size());
  std::vector<int> all(points.size());  // two looks can be wrong too, though never told which
  std::iota(all.begin(), all.end(), 0);
  if (points.size() <= kMostSuspects) return all;
  std::vector<double> off(points.size());
  for (int i = 0; i < n; ++i) {
    std::vector<double> near;
    for (int j = std::max(0, i - 2); j <= std::min(n - 1, i + 2); ++j)
      if (j != i) near.push_back(std::log(points[j].area));
    std::sort(near.begin(), near.end());
    off[i] = std::abs(std::log(points[i].area) - (near[near.size() / 2] + near[(near.size() - 1) / 2]) / 2);
  }
  std::stable_sort(all.begin(), all.end(), [&](int a, int b) { return off[a] > off[b]; });
  all.resize(kMostSuspects);
  return all;
}

}  // namespace

double Mixture::mean() const {
  double m = 0;
  for (const auto& p : parts) m += p.weight * p.mean;
  return m;
}
double Mixture::variance() const {
  const double m = mean();
  double v = 0;
  for (const auto& p : parts) v += p.weight * (p.var + (p.mean - m) * (p.mean - m));
  return v;
}
double Mixture::below(double x) const {
  double b = 0;
  for (const auto& p : parts) b += p.weight * (p.var > 0 ? normal_below((x - p.mean) / std::sqrt(p.var)) : (x >= p.mean ? 1.0 : 0.0));
  return b;
}
double Mixture::quantile(double p) const {
  double low = 1e300, high = -1e300;
  for (const auto& part : parts) {
    low = std::min(low, part.mean - 9 * std::sqrt(part.var));
    high = std::max(high, part.mean + 9 * std::sqrt(part.var));
  }
  for (int i = 0; i < 80 && high - low > 1e-14 * (std::abs(high) + std::abs(low)); ++i) {
    const double middle = (low + high) / 2;
    (below(middle) < p ? low : high) = middle;
  }
  return (low + high) / 2;
}
double Mixture::dof() const {
  // A t with nu degrees of freedom is a normal whose variance has relative spread 2 / (nu - 4) (fourth moment of t).
  double m = 0, v = 0;
  for (const auto& p : parts) m += p.weight * p.var;
  for (const auto& p : parts) v += p.weight * (p.var - m) * (p.var - m);
  return v > 0 ? 4 + 2 * m * m / v : INFINITY;
}
double Spread::mean_square() const {
  double m = 0;
  for (std::size_t k = 0; k < tau.size(); ++k) m += weight[k] * tau[k] * tau[k];
  return m;
}

Trend fit_trend(const std::vector<TrendPoint>& points, const SpreadPrior& prior) {
  Trend out;
  out.spread = prior_spread(prior);
  const int n = static_cast<int>(points.size());
  out.doubt.assign(points.size(), 0);
  if (n < 2) return out;

  std::vector<double> day, log_area, root;
  std::vector<int> segment;
  double root_mean = 0, log_root = 0;
  for (const auto& p : points) {
    day.push_back(p.day);
    log_area.push_back(std::log(p.area));
    root.push_back(std::sqrt(p.area));
    segment.push_back(p.segment);
    root_mean += root.back() / n;
    log_root += std::log(root.back());
  }
  const int segments = segment.back() - segment.front() + 1;

  struct Kept { double log_weight; int bend; int wrong; int tau; double before, before_var, after, after_var, covariance; };
  std::vector<Kept> kept;
  const auto bends = n >= 4 ? spaced(1, n - 3, kMostBreaks) : std::vector<int>{};
  const auto wrongs = n >= 2 ? suspects(points) : std::vector<int>{};
  const double wrong_prior = std::min(kWrongPrior, 0.2 / n), right_prior = 1 - wrong_prior * static_cast<double>(wrongs.size());
  const double bend_prior = bends.empty() ? 0 : kBreakPrior / static_cast<double>(bends.size()), straight_prior = bends.empty() ? 1 : 1 - kBreakPrior;

  std::vector<double> weight(points.size());
  for (const bool in_root : {false, true}) {
    // In sqrt A: the same noise and the same slopes at the mean size, and the densities brought back to ln A
    // (d sqrt A = sqrt A / 2 d ln A; the flat intercepts likewise at the mean size).
    const double unit = in_root ? root_mean / 2 : 1;
    const double slope_var = std::pow(kSlopeSpread * unit, 2);
    const double jacobian = in_root ? log_root - n * std::log(2.0) - segments * std::log(unit) : 0;
    for (int k = 0; k < static_cast<int>(kTaus); ++k)
      for (int j = -1; j < static_cast<int>(wrongs.size()); ++j) {
        const int wrong = j < 0 ? -1 : wrongs[j];
        for (int i = 0; i < n; ++i) {
          double v = points[i].s * points[i].s + out.spread.tau[k] * out.spread.tau[k] + (i == wrong ? kWrongSpread * kWrongSpread : 0);
          v = std::max(v, 1e-8);
          weight[i] = 1 / (in_root ? v * root[i] * root[i] / 4 : v);
        }
        const Columns columns{day, in_root ? root : log_area, weight, segment};
        const double log_prior_here = std::log(out.spread.weight[k]) + std::log(wrong < 0 ? right_prior : wrong_prior) + jacobian;
        const auto keep = [&](int bend, double share) {
          const auto line = fit_line(columns, bend >= 0, bend >= 0 ? day[bend] : 0, slope_var);
          kept.push_back({line.log_evidence + log_prior_here + std::log(share), bend, wrong, k, line.before / unit, line.before_var / (unit * unit),
                          line.after / unit, line.after_var / (unit * unit), line.covariance / (unit * unit)});
        };
        keep(-1, straight_prior);
        for (const int bend : bends) keep(bend, bend_prior);
      }
  }

  double top = -INFINITY, total = 0;
  for (const auto& h : kept) top = std::max(top, h.log_weight);
  for (auto& h : kept) total += h.log_weight = std::exp(h.log_weight - top);  // from here on a weight, no longer its logarithm
  std::vector<double> by_bend(points.size(), 0);
  std::fill(out.spread.weight.begin(), out.spread.weight.end(), 0.0);
  for (auto& h : kept) {
    h.log_weight /= total;
    out.spread.weight[h.tau] += h.log_weight;
    if (h.wrong >= 0) out.doubt[h.wrong] += h.log_weight;
    if (h.bend >= 0) by_bend[h.bend] += h.log_weight;
  }
  out.break_probability = std::accumulate(by_bend.begin(), by_bend.end(), 0.0);
  out.break_at = bends.empty() ? -1 : static_cast<int>(std::max_element(by_bend.begin(), by_bend.end()) - by_bend.begin());
  out.accepted_break = out.break_at >= 0 && out.break_probability >= kBreakAccepted;

  const int chosen = out.accepted_break ? out.break_at : -1;
  const double share = chosen >= 0 ? by_bend[chosen] : 1 - out.break_probability;
  for (const auto& h : kept) {
    const double w = h.log_weight / share;
    if (h.bend != chosen || w < 1e-7) continue;
    out.rate.parts.push_back({w, h.after, h.after_var});
    if (chosen >= 0) out.rate_before.parts.push_back({w, h.before, h.before_var});
  }
  int first = n - 1;
  while (first > 0 && segment[first - 1] == segment.back()) --first;
  const auto net = [&](const Kept& h, double weight, double from) {
    const double bend = h.bend >= 0 ? day[h.bend] : -INFINITY;
    const double d1 = std::max(0.0, std::min(bend, day.back()) - from), d2 = day.back() - std::max(from, bend);
    return Mixture::Part{weight, h.before * d1 + h.after * d2, h.before_var * d1 * d1 + h.after_var * d2 * d2 + 2 * h.covariance * d1 * d2};
  };
  for (const auto& h : kept)
    if (h.log_weight > 1e-7 && (h.wrong == first || h.wrong == n - 1)) (h.wrong == first ? out.first_astray : out.last_astray).parts.push_back(net(h, h.log_weight, day[first]));
  const double from = chosen >= 0 ? std::max(day[first], day[chosen]) : day[first];
  for (const auto& h : kept) {
    if (chosen >= 0 ? h.bend != chosen : h.log_weight < 1e-7) continue;
    const double w = chosen >= 0 ? h.log_weight / share : h.log_weight;
    if (w < 1e-7) continue;
    out.net.parts.push_back(net(h, w, from));
  }
  return out;
}

StraightLine straight_line(const std::vector<double>& t, const std::vector<double>& y, const std::vector<double>& variance) {
  StraightLine line;
  double w = 0, sxx = 0, sxy = 0;
  for (std::size_t i = 0; i < t.size(); ++i) {
    w += 1 / variance[i];
    line.middle += t[i] / variance[i];
    line.level += y[i] / variance[i];
  }
  line.middle /= w;
  line.level /= w;
  for (std::size_t i = 0; i < t.size(); ++i) {
    sxx += (t[i] - line.middle) * (t[i] - line.middle) / variance[i];
    sxy += (t[i] - line.middle) * (y[i] - line.level) / variance[i];
  }
  line.slope = sxx > 0 ? sxy / sxx : 0;
  line.level_var = 1 / w;
  line.slope_var = sxx > 0 ? 1 / sxx : INFINITY;
  return line;
}

TwoRates rates_around(const std::vector<TrendPoint>& points, double day, const Spread& spread) {
  std::vector<double> days, y, weight(points.size());
  std::vector<int> segment;
  for (const auto& p : points) {
    days.push_back(p.day);
    y.push_back(std::log(p.area));
    segment.push_back(p.segment);
  }
  TwoRates out;
  for (std::size_t k = 0; k < spread.tau.size(); ++k) {
    for (std::size_t i = 0; i < points.size(); ++i) weight[i] = 1 / std::max(points[i].s * points[i].s + spread.tau[k] * spread.tau[k], 1e-8);
    // A wide prior: what is reported here is the data's own slope.
    const auto line = fit_line({days, y, weight, segment}, true, day, 100 * kSlopeSpread * kSlopeSpread);
    out.before.parts.push_back({spread.weight[k], line.before, line.before_var});
    out.after.parts.push_back({spread.weight[k], line.after, line.after_var});
    out.difference.parts.push_back({spread.weight[k], line.difference, line.difference_var});
  }
  return out;
}

}  // namespace uroko::healing
