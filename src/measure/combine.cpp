#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <map>

#include "uroko/base/text.h"
#include "uroko/measure/budget.h"

namespace uroko::measure {

Measurement combined(const std::vector<Measurement>& photos) {
  if (photos.size() == 1) return photos.front();
  const auto own_variance = [](const Measurement& m) {
    double variance = 0;
    for (const auto& line : m.budget)
      if (!line.shared) variance += line.u_mm2 * line.u_mm2;
    return variance;
  };
  const auto best = std::min_element(photos.begin(), photos.end(), [](const auto& a, const auto& b) { return a.area_mm2.u < b.area_mm2.u; });
  // A floor keeps one photo of hardly any own doubt from carrying all the weight.
  std::vector<double> weight;
  double total = 0;
  for (const auto& m : photos) {
    weight.push_back(1 / std::max(own_variance(m), 1e-8 * m.area_mm2.value * m.area_mm2.value));
    total += weight.back();
  }
  double mean = 0;
  for (std::size_t i = 0; i < photos.size(); ++i) mean += (weight[i] /= total) * photos[i].area_mm2.value;

  Measurement out = *best;
  out.budget.clear();
  out.warnings.clear();
  // What is shared adds as it stands; what is not adds in squares.
  std::map<std::string, BudgetLine> shared, own;
  double chi2 = 0, own_total = 0;
  for (std::size_t i = 0; i < photos.size(); ++i) {
    for (const auto& line : photos[i].budget) {
      auto& to = (line.shared ? shared : own)[line.source];
      to.source = line.source;
      to.shared = line.shared;
      to.u_mm2 = line.shared ? to.u_mm2 + weight[i] * line.u_mm2 : std::hypot(to.u_mm2, weight[i] * line.u_mm2);
      to.dof = std::min(to.dof, line.dof);
    }
    chi2 += std::pow(photos[i].area_mm2.value - mean, 2) / std::max(own_variance(photos[i]), 1e-8 * mean * mean);
    for (const auto& w : photos[i].warnings)
      if (std::none_of(out.warnings.begin(), out.warnings.end(), [&](const auto& have) { return have.code == w.code; })) out.warnings.push_back(w);
  }
  for (const auto& [name, line] : shared) out.budget.push_back(line);
  for (const auto& [name, line] : own) {
    out.budget.push_back(line);
    own_total = std::hypot(own_total, line.u_mm2);
  }
  const double freedom = static_cast<double>(photos.size() - 1);
  const double birge = std::sqrt(chi2 / freedom);
  if (chi2 > boost::math::quantile(boost::math::chi_squared(freedom), 0.95)) {
    // Birge 1932, Phys Rev 40:207: the scatter itself says how wrong the stated doubts are.
    out.budget.push_back({"disagreement", own_total * std::sqrt(birge * birge - 1), freedom, false});
    std::string areas;
    for (const auto& m : photos) areas += (areas.empty() ? "" : ", ") + fixed_text(m.area_mm2.value, 1);
    out.warnings.push_back({"disagreement", "the photos of this visit differ by more than their intervals allow (" + areas +
                                                " mm2); compare their margins and where the card lies"});
  }
  sort_budget(out.budget);
  out.area_mm2 = area_estimate(mean, out.budget);
  const auto lengths = [&](Estimate Measurement::*field) {
    double value = 0, u = 0;
    for (std::size_t i = 0; i < photos.size(); ++i) value += weight[i] * (photos[i].*field).value, u += weight[i] * (photos[i].*field).u;
    out.*field = length_estimate(value, u);
  };
  lengths(&Measurement::perimeter_mm);
  lengths(&Measurement::length_mm);
  lengths(&Measurement::width_mm);
  return out;
}

}  // namespace uroko::measure
