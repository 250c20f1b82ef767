#pragma once
#include <vector>

namespace uroko::healing {

/// The looks as the trend sees them.
struct TrendPoint {
  double day = 0;
  double area = 0;   ///< > 0
  double s = 0;      ///< relative standard uncertainty of its own (the common part left out)
  int segment = 0;   ///< each segment has its own intercept; slopes are common
};

/// How much looks scatter beyond their own uncertainty: a prior, then what the residuals say.
struct SpreadPrior {
  bool own_unknown = false;  ///< no look has an uncertainty: the whole spread is learned, prior 10 % worth 6 degrees of freedom
};

/// A mixture of normals; what is left of a quantity when the spread between visits is not known for sure.
struct Mixture {
  struct Part { double weight, mean, var; };
  std::vector<Part> parts;
  double mean() const;
  double variance() const;
  double below(double x) const;        ///< probability
  double quantile(double p) const;
  double dof() const;                  ///< of the Student t with the same spread of spreads
};

struct Spread {
  std::vector<double> tau, weight;     ///< relative, posterior weights sum to 1
  double mean_square() const;
};

struct Trend {
  Spread spread;
  double break_probability = 0;        ///< that the rate changed for good within the course
  int break_at = -1;                   ///< most likely point of change, as index into the points; -1: none considered
  std::vector<double> doubt;           ///< probability of each point being grossly wrong
  Mixture rate;                        ///< d ln A / day under the chosen path: whole course, or after break_at when accepted
  Mixture rate_before;                 ///< before break_at; empty without
  Mixture net;                         ///< ln A at the last point less that at the first of its segment, along the paths weighed together;
                                       ///< with an accepted break from there on, if that is later
  bool accepted_break = false;
  /// ln A at the last point less that at the first of its segment by the paths in which one of these two looks is itself wrong. The weights sum to
  /// the probability of that.
  Mixture first_astray, last_astray;
};

/// Bayesian straight lines in ln A and in sqrt A, each with and without one change of slope, each point in turn possibly wrong, over a grid of between-visit
/// spreads. Points in order of time.
Trend fit_trend(const std::vector<TrendPoint>& points, const SpreadPrior& prior);

/// Weighted least squares line y = level + slope (t - middle), variances known; level and slope are independent.
struct StraightLine { double middle = 0, level = 0, slope = 0, level_var = 0, slope_var = 0; };
/// Precondition: at least one point, variances > 0. slope_var is infinite when all t are the same.
StraightLine straight_line(const std::vector<double>& t, const std::vector<double>& y, const std::vector<double>& variance);

/// The same line in ln A with a change of slope at a given day. Returns rates (d ln A / day) before, after and after - before.
struct TwoRates { Mixture before, after, difference; };
TwoRates rates_around(const std::vector<TrendPoint>& points, double day, const Spread& spread);

}  // namespace uroko::healing
