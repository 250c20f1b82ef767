#pragma once
#include <vector>

#include "uroko/base/estimate.h"
#include "uroko/measure/measure.h"

namespace uroko::measure {

/// Root sum of squares (GUM 5.1.2, uncorrelated inputs).
double combined_u(const std::vector<BudgetLine>& budget);

/// Welch-Satterthwaite (GUM G.4.1): u^4 / sum(u_i^4 / dof_i). Infinity when no finite dof contributes.
double effective_dof(const std::vector<BudgetLine>& budget);

/// The area with its 95 % interval: symmetric in the square root of the area, where a shift common to the whole edge is a symmetric error
/// (A = c (r + d)^2 for a shape that grows evenly); to first order value +- t u. Never below 0.
Estimate area_estimate(double value_mm2, const std::vector<BudgetLine>& budget);

}  // namespace uroko::measure
