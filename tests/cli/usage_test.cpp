// What a person mistypes is named, with the nearest word that would do.
#include <algorithm>
#include <catch2/catch.hpp>

#include "support/command.h"

TEST_CASE("a mistyped verb or option is named with the nearest that there is, in one line") {
  const auto said = [](const std::vector<std::string>& arguments) {
    const auto ran = uroko::testing::uroko(arguments);
    CHECK(ran.exit_code == 2);
    CHECK(ran.out.empty());
    CHECK(std::count(ran.err.begin(), ran.err.end(), '\n') == 1);
    return ran.err;
  };
  using Catch::Contains;
  CHECK_THAT(said({"measur", "x.jpg"}), Contains("no verb measur (did you mean measure?)") && Contains("uroko --help"));
  CHECK_THAT(said({"book", "lits", "a.uroko"}), Contains("no verb lits (did you mean list?)") && Contains("uroko book --help"));
  CHECK_THAT(said({"measure", "x.jpg", "--arond", "a"}), Contains("uroko measure has no option --arond (did you mean --around?)"));
  CHECK_THAT(said({"measure", "x.jpg", "--qqqqqq=3"}), Contains("has no option --qqqqqq;"));
  CHECK_THAT(said({"x.jpg"}), Contains("uroko measure x.jpg"));
  CHECK_THAT(said({"book"}), Contains("needs a verb: new, add"));
  CHECK_THAT(said({"book", "add", "a.uroko", "x.jpg", "--water", "warm"}), Contains("--water cannot be \"warm\""));
}
