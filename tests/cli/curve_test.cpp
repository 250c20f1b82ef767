#include <catch2/catch.hpp>
#include <fstream>
#include <nlohmann/json.hpp>

#include "support/command.h"
#include "support/temp_folder.h"

using namespace uroko::testing;
using nlohmann::json;

namespace {

std::string written(const TempFolder& folder, const std::string& text) {
  const auto file = folder / "series.csv";
  std::ofstream(file) << text;
  return file.string();
}

}  // namespace

TEST_CASE("uroko curve prints the contract's JSON for a closing wound") {
  TempFolder folder;
  const auto file = written(folder,
                            "date,area_mm2,u_mm2,perimeter_mm,water_c,event\n"
                            "2026-03-02,456.5,9,80,21,injection\n2026-03-06,430,9,78,20.5,\n2026-03-10,395,8,75,20,\n2026-03-16,340,7,70,20,\n2026-03-23,282,6,63,20,\n");
  const auto ran = uroko::testing::uroko({"curve", file, "--json"});
  INFO(ran.err);
  REQUIRE(ran.exit_code == 0);
  const auto out = json::parse(ran.out);
  CHECK(out.at("baseline").at("date") == "2026-03-02");
  CHECK(out.at("baseline").at("area_mm2") == 456.5);
  CHECK(out.at("visits") == 5);
  CHECK(out.at("days") == 21.0);
  CHECK(out.at("degree_days").get<double>() == Approx(4 * 20.75 + 4 * 20.25 + 13 * 20));
  CHECK(out.at("change_percent").at("value").get<double>() == Approx(100 * (282 / 456.5 - 1)));
  CHECK(out.at("change_percent").at("low95") < out.at("change_percent").at("value"));
  CHECK(out.at("change_percent").at("value") < out.at("change_percent").at("high95"));
  CHECK(out.at("advance_mm_per_day").at("value").get<double>() == Approx((456.5 - 282) / 71.5 / 21));
  CHECK(out.at("verdict") == "closing");
  CHECK_FALSE(out.at("reasons").empty());
  CHECK(out.at("closure").at("earliest") < out.at("closure").at("latest"));
  CHECK(ran.err.empty());

  const auto based = json::parse(uroko::testing::uroko({"curve", file, "--json", "--base", "10"}).out);
  CHECK(based.at("degree_days").get<double>() == Approx(4 * 10.75 + 4 * 10.25 + 13 * 10));
  const auto people = uroko::testing::uroko({"curve", file});
  CHECK(people.out.find("Verdict: closing") != std::string::npos);
  CHECK(people.out.find("2026-03-16") != std::string::npos);
}

TEST_CASE("uroko curve says null where there is nothing to state and still ends with 0") {
  TempFolder folder;
  const auto ran = uroko::testing::uroko({"curve", written(folder, "date,area_mm2,u_mm2\n2026-03-02,456.5,9\n"), "--json"});
  REQUIRE(ran.exit_code == 0);
  const auto out = json::parse(ran.out);
  CHECK(out.at("verdict") == "too soon to tell");
  for (const char* key : {"change_percent", "advance_mm_per_day", "closure", "degree_days"}) CHECK(out.at(key).is_null());
}

TEST_CASE("uroko curve tells a series without a measure, a bad file and wrong usage apart") {
  TempFolder folder;
  CHECK(uroko::testing::uroko({"curve", written(folder, "date,area_mm2,u_mm2\n"), "--json"}).exit_code == 1);
  CHECK(uroko::testing::uroko({"curve", written(folder, "date,area_mm2,u_mm2,event\n2026-03-02,,,cleaning\n"), "--json"}).exit_code == 1);
  const auto bad = uroko::testing::uroko({"curve", written(folder, "date,area_mm2,u_mm2\n2026-03-02,nan,1\n"), "--json"});
  CHECK(bad.exit_code == 3);
  CHECK(bad.out.empty());
  CHECK(bad.err.find("line 2") != std::string::npos);
  CHECK(uroko::testing::uroko({"curve", written(folder, ""), "--json"}).exit_code == 3);
  CHECK(uroko::testing::uroko({"curve", (folder / "none.csv").string()}).exit_code == 3);
  CHECK(uroko::testing::uroko({"curve"}).exit_code == 2);
}
