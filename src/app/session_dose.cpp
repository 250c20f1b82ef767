// What is due, and the dose sheet's arithmetic in words.
#include <algorithm>

#include "app/book_access.h"
#include "uroko/app/session.h"
#include "uroko/base/text.h"

namespace uroko::app {

std::vector<DueEntry> Session::read_due() const {
  std::vector<DueEntry> out;
  if (!access_) return out;
  const auto today = DateTime::now().day_number();
  for (const auto& f : book.fish) {
    for (const auto& w : f.wounds) {
      if (w.visits.empty() || w.wound.closed) continue;
      const auto& last = w.visits.back().visit;
      if (last.next_look) out.push_back({f.fish.id, w.wound.id, f.fish.name, "recheck of " + w.wound.name, static_cast<int>(last.next_look->day_number() - today)});
    }
    for (const auto& swab : access_->book.swabs(f.fish.id))
      if (!swab.reported) out.push_back({f.fish.id, swab.wound.value_or(0), f.fish.name, "swab result", static_cast<int>(swab.taken.day_number() + 2 - today)});
  }
  std::stable_sort(out.begin(), out.end(), [](const auto& a, const auto& b) { return a.days < b.days; });
  return out;
}

void Session::open_dose() {
  dose_form.emplace();
  if (!access_ || !fish) return;
  // The last weighing is a reading with its date, not a default: it is shown so that its age is seen.
  if (const auto weight = access_->book.last_weighed(fish)) {
    dose_form->weight_g = number_text(weight->grams);
    dose_form->weighed_on = weight->date.iso_date();
  }
}

DoseResult Session::dose_result() const {
  DoseResult r;
  if (!dose_form) return r;
  const auto& f = *dose_form;
  r.cautions = {"Check % against mg/mL (5 % = 50 mg/mL), the expiry date, and the withdrawal time for food fish.", "Injections are for trained hands and local rules. Wear gloves."};
  const auto dose = parse_typed_number(f.dose_mg_per_kg), strength = parse_typed_number(f.strength_mg_per_ml), grams = parse_typed_number(f.weight_g);
  const auto good = [](const std::optional<double>& v) { return v && *v > 0; };
  if (!good(dose))
    r.problem = "The dose in mg/kg, as the vet wrote it, is missing.";
  else if (!good(strength))
    r.problem = "The strength in mg/mL, from the label, is missing.";
  else if (!good(grams))
    r.problem = "The weighed weight in grams is missing. It is never worked out from the length.";
  else if (!DateTime::parse(trim(f.weighed_on)))
    r.problem = "The date of weighing is missing, like 2026-03-19.";
  if (!r.problem.empty()) return r;
  const double mg = *dose * *grams / 1000, ml = mg / *strength;
  r.volume = fixed_text(ml, ml < 0.1 ? 3 : 2);
  r.working = {number_text(*dose) + " mg/kg \u00d7 " + number_text(*grams / 1000) + " kg = " + fixed_text(mg, 2) + " mg", fixed_text(mg, 2) + " mg \u00f7 " + number_text(*strength) + " mg/mL = " + fixed_text(ml, 4) + " mL"};
  const auto age = DateTime::now().day_number() - DateTime::parse(trim(f.weighed_on))->day_number();
  if (age > 7) r.cautions.insert(r.cautions.begin(), "The weight is " + std::to_string(age) + " days old. Weigh the fish again.");
  return r;
}

}  // namespace uroko::app
