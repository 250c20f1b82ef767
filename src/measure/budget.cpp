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

Estimate area_estimate(double value, const std::vector<BudgetLine>& budget) { return uroko::area_estimate(value, combined_u(budget), effective_dof(budget)); }

void sort_budget(std::vector<BudgetLine>& budget) {
  std::erase_if(budget, [](const auto& line) { return !(line.u_mm2 > 0); });
  std::stable_sort(budget.begin(), budget.end(), [](const auto& x, const auto& y) { return x.u_mm2 > y.u_mm2; });
}

Estimate length_estimate(double value_mm, double u_mm) {
  auto e = symmetric_estimate(value_mm, u_mm);
  e.low95 = std::max(0.0, e.low95);
  return e;
}

}  // namespace uroko::measure
