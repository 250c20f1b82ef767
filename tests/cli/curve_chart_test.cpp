#include <catch2/catch.hpp>
#include <fstream>

#include "support/command.h"
#include "support/temp_folder.h"

using namespace uroko::testing;

TEST_CASE("curve --chart draws SVG, PNG and PDF, refuses other names with one line, and leaves no file then") {
  TempFolder folder;
  std::ofstream(folder / "s.csv") << "date,area_mm2,u_mm2,water_c,event\n2026-03-02,456.5,4,18,\n2026-03-05,,,17,debridement\n2026-03-06,500,5,17,\n"
                                     "2026-03-12,430,5,16.5,\n2026-03-18,360,4,18,\n2026-03-24,300,4,19,\n";
  for (const char* name : {"c.svg", "c.png", "c.pdf", "C.SVG"}) {
    const auto out = folder / name;
    const auto ran = uroko::testing::uroko({"curve", (folder / "s.csv").string(), "--json", "--axis", "degree-days", "--chart", out.string()});
    INFO(ran.err);
    CHECK(ran.exit_code == 0);
    CHECK(ran.out.substr(0, 1) == "{");
    CHECK(std::filesystem::file_size(out) > 1000);
  }
  CHECK(run({"xmllint", "--noout", (folder / "c.svg").string()}).exit_code == 0);
  CHECK(run({"pdftotext", (folder / "c.pdf").string(), "-"}).out.find("300 mm²") != std::string::npos);
  const auto bad = uroko::testing::uroko({"curve", (folder / "s.csv").string(), "--chart", (folder / "c.bmp").string()});
  CHECK(bad.exit_code == 2);
  CHECK(std::count(bad.err.begin(), bad.err.end(), '\n') == 1);
  CHECK_FALSE(std::filesystem::exists(folder / "c.bmp"));
  const auto nowhere = uroko::testing::uroko({"curve", (folder / "s.csv").string(), "--chart", (folder / "no" / "c.svg").string()});
  CHECK(nowhere.exit_code == 3);
}
