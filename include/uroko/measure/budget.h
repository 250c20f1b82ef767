#pragma once
#include <vector>

#include "uroko/base/estimate.h"
#include "uroko/measure/measure.h"

namespace uroko::measure {

/// Root sum of squares (GUM 5.1.2, uncorrelated inputs).
double combined_u(const std::vector<BudgetLine>& budget);

/// Welch-Satterthwaite (GUM G.4.1): u^4 / sum(u_i^4 / dof_i). Infinity when no finite dof contributes.
double effective_dof(const std::vector<BudgetLine>& budget);

/// The largest source first; sources of nothing are left out.
void sort_budget(std::vector<BudgetLine>& budget);

/// What a source of the budget is, and what the user can do to lessen it. The words of a source that is not known are empty but for `means`.
struct SourceWords {
  std::string source, means, reduce;
};
const SourceWords& words_of(const std::string& source);

/// A line's share of the area's variance, 0..1.
double share_of(const BudgetLine& line, const std::vector<BudgetLine>& budget);

/// A length with its 95 % interval, never below 0.
Estimate length_estimate(double value_mm, double u_mm);

/// The area with its 95 % interval (uroko::area_estimate) from its sources.
Estimate area_estimate(double value_mm2, const std::vector<BudgetLine>& budget);

}  // namespace uroko::measure
