#include "uroko/casebook/dose.h"

#include <catch2/catch.hpp>

#include "casebook/made.h"

using namespace uroko;
using namespace uroko::casebook;
using uroko::casebook::testing::day;

namespace {

DoseQuestion question(const std::string& per_kg, double grams, const std::string& strength, const std::string& graduation = "") {
  return {per_kg, strength, Weight{1, 1, day("2026-03-02"), grams, "weighed", ""}, day("2026-03-02"), graduation};
}
bool flagged(const DoseSheet& sheet, const std::string& code) {
  for (const auto& flag : sheet.flags)
    if (flag.code == code) return true;
  return false;
}
std::string refused(const DoseQuestion& q) {
  const auto result = dose(q);
  return result ? "" : result.refusal().code;
}

}  // namespace

TEST_CASE("dose sheet: the worked example of a hobby fish-health page, 10 mg/kg x 1.5 kg / 50 mg/mL = 0.30 mL") {
  const auto sheet = dose(question("10", 1500, "50")).value();
  CHECK(sheet.ml == Approx(0.30).epsilon(1e-12));
  CHECK(ml_text(sheet.ml) == "0.30");
  CHECK(sheet.working.back() == "volume: 15 mg / 50 mg/mL = 0.30 mL");
  CHECK(sheet.flags.empty());
  CHECK(sheet.cautions.size() >= 3);
}

TEST_CASE("dose sheet: 20 mg/kg x 2.4 kg / 100 mg/mL = 0.48 mL (derived)") {
  CHECK(ml_text(dose(question("20 mg/kg", 2400, "100 mg/mL")).value().ml) == "0.48");
}

TEST_CASE("dose sheet: 5 % is 50 mg/mL, converted in the open and flagged") {
  const auto sheet = dose(question("10", 1500, "5 %")).value();
  CHECK(sheet.mg_per_ml == 50);
  CHECK(ml_text(sheet.ml) == "0.30");
  CHECK(flagged(sheet, "percent"));
  CHECK(sheet.working[1] == "strength: 5 % = 5 g in 100 mL = 50 mg/mL");
  CHECK(dose(question("10", 1500, "2,5%")).value().mg_per_ml == 25);
  CHECK(refused(question("10", 1500, "120 %")) == "unit");
}

TEST_CASE("dose sheet: numbers that can be read in two ways are refused, never guessed") {
  for (const auto* text : {"1,234", "12,345", "1 234", "1'234", "1,234,567"}) {
    INFO(text);
    CHECK(refused(question(text, 1500, "50")) == "ambiguous");
    CHECK(refused(question("10", 1500, text)) == "ambiguous");
  }
  for (const auto* text : {"", "ten", "-5", "0", "1e400", "nan", "inf", "1.2.3", "0x10"}) {
    INFO(text);
    CHECK_FALSE(refused(question(text, 1500, "50")).empty());
    CHECK_FALSE(refused(question("10", 1500, text)).empty());
  }
  CHECK(dose(question("12,5", 1500, "50")).value().mg_per_kg == 12.5);
}

TEST_CASE("dose sheet: other units are refused") {
  CHECK(refused(question("10 mg", 1500, "50")) == "unit");
  CHECK(refused(question("10 g/kg", 1500, "50")) == "unit");
  CHECK(refused(question("10", 1500, "50 g/L")) == "unit");
  CHECK(refused(question("10", 1500, "50", "1 drop")) == "unit");
}

TEST_CASE("dose sheet: only a weighed weight is taken, and a stale one is flagged after the set days") {
  auto q = question("10", 1500, "50");
  q.weight->method = "estimated";
  CHECK(refused(q) == "not-weighed");
  q.weight.reset();
  CHECK(refused(q) == "no-weight");
  q = question("10", 1500, "50");
  q.on = day("2026-03-09");
  CHECK_FALSE(flagged(dose(q).value(), "stale-weight"));
  q.on = day("2026-03-10");
  CHECK(flagged(dose(q).value(), "stale-weight"));
  DoseLimits limits;
  limits.stale_weight_days = 10;
  CHECK_FALSE(flagged(dose(q, limits).value(), "stale-weight"));
  q.on = day("2026-03-01");
  CHECK(flagged(dose(q).value(), "future-weight"));
}

TEST_CASE("dose sheet: rounding to the syringe is a second figure with the dose it makes") {
  const auto sheet = dose(question("10", 1530, "50", "0.01")).value();  // 0.306 mL
  CHECK(ml_text(sheet.ml) == "0.306");
  REQUIRE(sheet.rounded);
  CHECK(ml_text(sheet.rounded->ml) == "0.31");
  CHECK(sheet.rounded->mg_per_kg == Approx(0.31 * 50 / 1.53));
  CHECK_FALSE(flagged(sheet, "rounding"));
  CHECK(flagged(dose(question("10", 1530, "50", "0.2")).value(), "rounding"));
  CHECK(flagged(dose(question("1", 100, "50", "0.01")).value(), "below-graduation"));
}

TEST_CASE("dose sheet: results that look like a slip of the pen are flagged") {
  CHECK(flagged(dose(question("10", 1.5, "50")).value(), "out-of-range"));      // kg typed as g
  CHECK(flagged(dose(question("10", 150000, "50")).value(), "out-of-range"));
  CHECK(flagged(dose(question("1000", 1500, "50")).value(), "out-of-range"));
  CHECK(flagged(dose(question("10", 1500, "5000")).value(), "out-of-range"));
  CHECK(flagged(dose(question("100", 1500, "5")).value(), "out-of-range"));     // 20 mL per kg
}
