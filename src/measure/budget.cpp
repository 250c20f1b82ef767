#include "uroko/measure/budget.h"

#include <cmath>

namespace uroko::measure {

double combined_u(const std::vector<BudgetLine>& budget) {
  double variance = 0;
  for (const auto& line : budget) variance += line.u_mm2 * line.u_mm2;
  return std::sqrt(variance);
}

double effective_dof(const std::vector<BudgetLine>& budget) {
  double sum = 0;
  for (const auto& line : budget)
    if (std::isfinite(line.dof)) sum += std::pow(line.u_mm2, 4) / line.dof;
  return sum > 0 ? std::pow(combined_u(budget), 4) / sum : std::numeric_limits<double>::infinity();
}

Estimate area_estimate(double value, const std::vector<BudgetLine>& budget) {
  Estimate e;
  e.value = value;
  e.u = combined_u(budget);
  e.dof = effective_dof(budget);
  const double reach = t_quantile(0.975, e.dof) * e.u, root = std::sqrt(value), side = value > 0 ? reach / (2 * root) : std::sqrt(reach);
  e.low95 = std::pow(std::max(0.0, root - side), 2);
  e.high95 = std::pow(root + side, 2);
  return e;
}

}  // namespace uroko::measure
