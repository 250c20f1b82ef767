#pragma once
#include <limits>
#include <string>

namespace uroko {

/// A number with its standard uncertainty and 95 % interval, all in the unit of the field that holds it.
/// The interval need not be symmetric. `dof`: effective degrees of freedom behind `u` (infinity: known well).
struct Estimate {
  double value = 0;
  double u = 0;
  double low95 = 0;
  double high95 = 0;
  double dof = std::numeric_limits<double>::infinity();
};

/// value +- t(0.975, dof) u. Precondition: u >= 0, dof > 0.
Estimate symmetric_estimate(double value, double u, double dof = std::numeric_limits<double>::infinity());

/// An area with its 95 % interval: symmetric in the square root of the area, where a shift common to the whole edge is a symmetric error
/// (A = c (r + d)^2 for a shape that grows evenly); to first order value +- t u. Never below 0.
/// Precondition: value >= 0, u >= 0, dof > 0.
Estimate area_estimate(double value, double u, double dof = std::numeric_limits<double>::infinity());

/// Student-t quantile (Boost.Math); the normal quantile when dof is infinite. 0 < p < 1, dof > 0.
double t_quantile(double p, double dof);

/// Something the reader of a number should know: `code` for scripts, `text` with what to do.
struct Warning {
  std::string code;
  std::string text;
};

}  // namespace uroko
