#pragma once
#include <optional>
#include <string>
#include <vector>

#include "uroko/base/date.h"
#include "uroko/base/estimate.h"
#include "uroko/base/result.h"
#include "uroko/casebook/records.h"

namespace uroko::casebook {

/// Limits beyond which the arithmetic looks like a slip of the pen. They are no doses: nothing here knows a drug.
struct DoseLimits {
  double stale_weight_days = 7;     ///< an older weight is flagged
  double least_grams = 20;          ///< koi of a size that is handled
  double most_grams = 30000;
  double most_mg_per_kg = 500;
  double most_mg_per_ml = 500;
  double most_ml_per_kg = 5;
  double rounding_percent = 5;      ///< a rounding that changes the dose by more is flagged
};
inline constexpr const char* kStaleWeightDays = "stale_weight_days";  ///< the book's setting

/// Everything as the vet wrote it and as it was weighed. Nothing has a default.
struct DoseQuestion {
  std::string mg_per_kg;              ///< as typed: "10", "10 mg/kg"
  std::string strength;               ///< as typed: "50", "50 mg/mL", "5 %"
  std::optional<Weight> weight;       ///< method must be "weighed"
  DateTime on;                        ///< the day of the dose
  std::string graduation_ml;          ///< of the syringe, as typed: "0.01"; empty: no rounding
};

struct DoseSheet {
  double mg_per_kg = 0, kg = 0, mg_per_ml = 0;
  DateTime weighed;
  double mg = 0, ml = 0;
  struct Rounded { double graduation_ml = 0, ml = 0, mg_per_kg = 0, change_percent = 0; };
  std::optional<Rounded> rounded;     ///< the second figure: to the syringe's nearest graduation
  std::vector<std::string> working;   ///< each line with its units
  std::vector<Warning> flags;
  std::vector<std::string> cautions;
};

/// mL = mg/kg x kg / mg/mL. Refuses: no weighed weight, an estimated one, a number that is missing, not a number, not above 0 or ambiguous ("1,234"),
/// another unit than the ones above.
Result<DoseSheet> dose(const DoseQuestion& question, const DoseLimits& limits = {});

/// "0.30", "0.304": at least two decimals, to a ten-thousandth.
std::string ml_text(double ml);

}  // namespace uroko::casebook
