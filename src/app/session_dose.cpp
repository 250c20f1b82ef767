// What is due, and the dose sheet's arithmetic in words.
#include <algorithm>

#include "app/book_access.h"
#include "app/typed.h"
#include "uroko/app/session.h"
#include "uroko/base/text.h"
#include "uroko/casebook/dose.h"
#include "uroko/casebook/due.h"

namespace uroko::app {

std::vector<DueEntry> due_entries(const casebook::Book& book) {
  std::vector<DueEntry> out;
  const auto now = DateTime::now();
  for (const auto& d : casebook::due(book, now))
    out.push_back({d.fish, d.wound, d.fish_name, casebook::name(d.kind) + (d.wound_name.empty() ? std::string() : ", " + d.wound_name), d.text, static_cast<int>(d.from.day_number() - now.day_number()),
                   d.state == casebook::DueItem::State::overdue ? static_cast<int>(now.day_number() - d.until.day_number()) : 0});
  return out;
}

void Session::open_dose() {
  dose_form.emplace();
  const auto* f = current_fish();
  if (!f || !f->last_weighed) return;
  // The last weighing is a reading with its date, not a default: it is shown so that its age is seen.
  dose_form->weight_g = number_text(f->last_weighed->grams);
  dose_form->weighed_on = f->last_weighed->date.iso_date();
}

DoseResult Session::dose_result() const {
  DoseResult r;
  if (!dose_form) return r;
  const auto& f = *dose_form;
  casebook::DoseQuestion q;
  q.mg_per_kg = f.dose_mg_per_kg;
  q.strength = f.strength_mg_per_ml;
  q.on = DateTime::now();
  if (const auto grams = parse_typed_number(f.weight_g); grams && *grams > 0)
    if (const auto date = DateTime::parse(trim(f.weighed_on))) {
      q.weight.emplace();
      q.weight->date = *date;
      q.weight->grams = *grams;
    }
  const auto sheet = casebook::dose(q);
  if (!sheet) {
    r.problem = sentence(sheet.refusal().text) + " " + sentence(sheet.refusal().advice);
    return r;
  }
  r.volume = casebook::ml_text(sheet->ml);
  r.working = sheet->working;
  for (const auto& w : sheet->flags) r.cautions.push_back(w.text);
  r.cautions.insert(r.cautions.end(), sheet->cautions.begin(), sheet->cautions.end());
  return r;
}

}  // namespace uroko::app
