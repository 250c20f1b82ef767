#include "uroko/casebook/dose.h"

#include <cmath>

#include "uroko/base/text.h"

namespace uroko::casebook {

namespace {

struct Typed {
  double value = 0;
  std::string unit;  ///< lower case, without blanks
};

/// A number and what follows it. Digits grouped by commas or blanks can be read in two ways and are refused.
Result<Typed> read_typed(const std::string& text, const std::string& name) {
  const auto clean = trim(text);
  if (clean.empty()) return Refusal{"missing", name + " is missing", "write it as the vet did"};
  const auto end = clean.find_first_not_of("0123456789.,+-'");
  const auto digits = trim(clean.substr(0, end));
  std::string unit = end == std::string::npos ? "" : lower_ascii(clean.substr(end));
  std::erase(unit, ' ');
  if (!unit.empty() && unit.find_first_of("0123456789,") != std::string::npos)
    return Refusal{"ambiguous", name + " \"" + clean + "\" can be read in more than one way", "write one plain number such as 1234 or 1.234"};
  const auto value = parse_typed_number(digits);
  if (!value) {
    const bool number_like = digits.find_first_of("0123456789") != std::string::npos;
    if (number_like && digits.find_first_of(",'") != std::string::npos)
      return Refusal{"ambiguous", name + " \"" + clean + "\" can be read in more than one way", "write one plain number such as 1234 or 1.234"};
    return Refusal{"not-a-number", name + " \"" + clean + "\" is not a number", "write one plain number such as 0.5"};
  }
  if (!(*value > 0)) return Refusal{"not-positive", name + " must be above 0", "write it as the vet did"};
  return Typed{*value, unit};
}

std::string sure(double value) { return number_text(std::round(value * 1e9) / 1e9); }

}  // namespace

std::string ml_text(double ml) {
  auto text = fixed_text(ml, 4);
  while (text.size() > 1 && text.back() == '0' && text.size() - text.find('.') > 3) text.pop_back();
  return text;
}

Result<DoseSheet> dose(const DoseQuestion& question, const DoseLimits& limits) {
  if (!question.weight) return Refusal{"no-weight", "there is no weighed weight of this fish", "weigh the fish; a length does not give a weight"};
  const auto& weight = *question.weight;
  if (weight.method != "weighed")
    return Refusal{"not-weighed", "the weight of " + number_text(weight.grams) + " g is " + (weight.method.empty() ? "not said to be weighed" : weight.method), "weigh the fish"};
  if (!(std::isfinite(weight.grams) && weight.grams > 0)) return Refusal{"no-weight", "the weight is not above 0", "weigh the fish"};
  const auto per_kg = read_typed(question.mg_per_kg, "the dose in mg/kg");
  if (!per_kg) return per_kg.refusal();
  if (!per_kg->unit.empty() && per_kg->unit != "mg/kg") return Refusal{"unit", "the dose is given in \"" + per_kg->unit + "\" and not in mg/kg", "ask the vet for mg/kg"};
  const auto strength = read_typed(question.strength, "the strength");
  if (!strength) return strength.refusal();

  DoseSheet sheet;
  sheet.mg_per_kg = per_kg->value;
  sheet.kg = weight.grams / 1000;
  sheet.weighed = weight.date;
  sheet.working.push_back("weight: " + number_text(weight.grams) + " g = " + sure(sheet.kg) + " kg, weighed " + weight.date.iso_date());
  if (strength->unit == "%" || strength->unit == "%w/v") {
    if (strength->value > 100) return Refusal{"unit", "a solution of more than 100 % does not exist", "look at the label again"};
    // Weight in volume: 1 % = 1 g in 100 mL = 10 mg/mL.
    sheet.mg_per_ml = strength->value * 10;
    sheet.working.push_back("strength: " + number_text(strength->value) + " % = " + number_text(strength->value) + " g in 100 mL = " + sure(sheet.mg_per_ml) + " mg/mL");
    sheet.flags.push_back({"percent", "the strength was converted from " + number_text(strength->value) + " % (weight in volume) to " + sure(sheet.mg_per_ml) + " mg/mL: check it against the label"});
  } else if (strength->unit.empty() || strength->unit == "mg/ml") {
    sheet.mg_per_ml = strength->value;
    sheet.working.push_back("strength: " + number_text(sheet.mg_per_ml) + " mg/mL");
  } else {
    return Refusal{"unit", "the strength is given in \"" + strength->unit + "\" and not in mg/mL or %", "look at the label again"};
  }
  sheet.mg = sheet.mg_per_kg * sheet.kg;
  sheet.ml = sheet.mg / sheet.mg_per_ml;
  sheet.working.push_back("dose: " + number_text(sheet.mg_per_kg) + " mg/kg x " + sure(sheet.kg) + " kg = " + sure(sheet.mg) + " mg");
  sheet.working.push_back("volume: " + sure(sheet.mg) + " mg / " + sure(sheet.mg_per_ml) + " mg/mL = " + ml_text(sheet.ml) + " mL");

  if (!trim(question.graduation_ml).empty()) {
    const auto graduation = read_typed(question.graduation_ml, "the syringe's graduation");
    if (!graduation) return graduation.refusal();
    if (!graduation->unit.empty() && graduation->unit != "ml") return Refusal{"unit", "the syringe's graduation is given in \"" + graduation->unit + "\" and not in mL", "give it in mL"};
    DoseSheet::Rounded rounded;
    rounded.graduation_ml = graduation->value;
    rounded.ml = std::round(sheet.ml / graduation->value) * graduation->value;
    rounded.mg_per_kg = rounded.ml * sheet.mg_per_ml / sheet.kg;
    rounded.change_percent = 100 * (rounded.ml / sheet.ml - 1);
    sheet.rounded = rounded;
    sheet.working.push_back("on a syringe graduated in " + sure(graduation->value) + " mL: " + ml_text(rounded.ml) + " mL, which is " + sure(rounded.mg_per_kg) + " mg/kg (" +
                            (rounded.change_percent < 0 ? "" : "+") + fixed_text(rounded.change_percent, 1) + " %)");
    if (sheet.ml < graduation->value)
      sheet.flags.push_back({"below-graduation", "the volume is smaller than one graduation of this syringe: take a finer one or ask the vet"});
    else if (std::abs(rounded.change_percent) > limits.rounding_percent)
      sheet.flags.push_back({"rounding", "rounding to this syringe changes the dose by " + fixed_text(rounded.change_percent, 1) + " %: take a finer one"});
  }

  const double age = question.on.days() - weight.date.days();
  const long days = question.on.day_number() - weight.date.day_number();
  if (days < 0) sheet.flags.push_back({"future-weight", "the weight is dated after the day of the dose"});
  if (age > limits.stale_weight_days && days > 0)
    sheet.flags.push_back({"stale-weight", "the weight is " + std::to_string(days) + " days old (more than " + number_text(limits.stale_weight_days) + "): weigh the fish again"});
  const auto flag = [&](const std::string& what, double limit, const std::string& unit) {
    sheet.flags.push_back({"out-of-range", what + " beyond " + number_text(limit) + " " + unit + ": check every number and its unit"});
  };
  if (weight.grams < limits.least_grams) sheet.flags.push_back({"out-of-range", "the weight is below " + number_text(limits.least_grams) + " g: check the number and its unit"});
  if (weight.grams > limits.most_grams) flag("the weight is", limits.most_grams, "g");
  if (sheet.mg_per_kg > limits.most_mg_per_kg) flag("the dose is", limits.most_mg_per_kg, "mg/kg");
  if (sheet.mg_per_ml > limits.most_mg_per_ml) flag("the strength is", limits.most_mg_per_ml, "mg/mL");
  if (sheet.ml / sheet.kg > limits.most_ml_per_kg) flag("the volume is", limits.most_ml_per_kg, "mL per kg");

  sheet.cautions = {
      "This is arithmetic on the numbers given; it recommends no drug, dose or interval. These are the prescribing vet's, under local law.",
      "Weigh the fish. Check % against mg/mL (5 % = 50 mg/mL), the expiry date, and the withdrawal period for food fish.",
      "Injection and sedation are for trained hands and local rules. Wear gloves: some fish bacteria infect people (common practice).",
      "Have a second person check the sheet before the injection (common practice).",
  };
  return sheet;
}

}  // namespace uroko::casebook
