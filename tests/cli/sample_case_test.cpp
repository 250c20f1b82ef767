// The main job from outside: the sample case through the program's own verbs, against the renderer's truth.
#include <catch2/catch.hpp>
#include <cmath>
#include <nlohmann/json.hpp>

#include "support/command.h"
#include "support/temp_folder.h"
#include "uroko/base/file.h"

using namespace uroko;
using nlohmann::json;

TEST_CASE("the sample case is measured, followed and reported, and its intervals hold the truth") {
  const testing::TempFolder folder;
  const auto book = (folder / "sample.uroko").string();
  const std::string root = UROKO_SOURCE;
  const auto made = testing::run({root + "/scripts/sample-case", UROKO_COMMAND, book});
  INFO(made.err);
  REQUIRE(made.exit_code == 0);

  const auto truth = json::parse(read_file(root + "/sample_images/truth.json"));
  const auto list = json::parse(testing::uroko({"book", "list", book, "--json"}).out);
  const auto& visits = list["fish"][0]["wounds"][0]["visits"];
  REQUIRE(visits.size() == truth["photos"].size());
  REQUIRE(visits.size() == 8);
  for (std::size_t i = 0; i < visits.size(); ++i) {
    const double area = visits[i]["area_mm2"], u = visits[i]["u_mm2"], real = truth["photos"][i]["area_mm2"];
    INFO(visits[i]["date"] << ": " << area << " +- " << u << " against " << real);
    CHECK(std::abs(area - real) < 2 * u);
    CHECK(area == Approx(real).epsilon(0.04));
    CHECK(visits[i]["date_from"] == "exif");
  }

  const auto curve = testing::uroko({"book", "curve", book, "--fish", "Botan", "--wound", "left flank", "--json"});
  REQUIRE(curve.exit_code == 0);
  const auto course = json::parse(curve.out);
  CHECK(course["verdict"] == "closing");
  CHECK(course["baseline"]["date"].get<std::string>().substr(0, 10) == "2026-03-05");  // the debridement restarts it
  const double now = truth["photos"][7]["area_mm2"], then = truth["photos"][1]["area_mm2"];
  CHECK(course["change_percent"]["low95"] <= 100 * (now / then - 1));
  CHECK(course["change_percent"]["high95"] >= 100 * (now / then - 1));

  const auto sheet = (folder / "sheet.pdf").string();
  CHECK(testing::uroko({"book", "report", book, "--fish", "Botan", "--wound", "left flank", "--pdf", sheet}).exit_code == 0);
  const auto text = testing::run({"pdftotext", "-layout", sheet, "-"}).out;
  CHECK_THAT(text, Catch::Contains("Botan") && Catch::Contains("closing") && Catch::Contains("page 1 of"));
  CHECK(testing::uroko({"book", "check", book, "--json"}).exit_code == 0);
}
