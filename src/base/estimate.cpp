#include "uroko/base/estimate.h"

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

}  // namespace uroko
