#include "uroko/base/estimate.h"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>

namespace uroko {

double t_quantile(double p, double dof) {
  if (!std::isfinite(dof)) return boost::math::quantile(boost::math::normal(), p);
  return boost::math::quantile(boost::math::students_t(dof), p);
}

Estimate symmetric_estimate(double value, double u, double dof) {
  const double half = t_quantile(0.975, dof) * u;
  return {value, u, value - half, value + half, dof};
}

Estimate area_estimate(double value, double u, double dof) {
  const double reach = t_quantile(0.975, dof) * u, root = std::sqrt(value), side = value > 0 ? reach / (2 * root) : std::sqrt(reach);
  return {value, u, std::pow(std::max(0.0, root - side), 2), std::pow(root + side, 2), dof};
}

}  // namespace uroko
