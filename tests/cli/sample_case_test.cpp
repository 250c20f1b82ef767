// The main job from outside: the sample case through the program's own verbs, against the renderer's truth.
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
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

  // Everything that leaves the book, by readers that are not ours.
  const auto out = [&](const std::string& name) { return (folder / name).string(); };
  REQUIRE(testing::uroko({"book", "extract", book, "--record", out("r.json"), "--outlines", out("o.csv"), "--dictionary", out("d.csv"), "--fhir", out("f.json"), "--figures", out("figures")}).exit_code == 0);
  REQUIRE(testing::uroko({"book", "export", book, "--csv", "--out", out("t.csv")}).exit_code == 0);
  const std::string reader = root + "/tests/report/read_back.py";
  const auto read = [&](const std::vector<std::string>& arguments) {
    std::vector<std::string> command{"python3", reader};
    command.insert(command.end(), arguments.begin(), arguments.end());
    const auto ran = testing::run(command);
    UNSCOPED_INFO(ran.out << ran.err);
    return ran.exit_code;
  };
  CHECK(read({"record", out("r.json"), root + "/assets/schema-json/case-book.schema.json"}) == 0);
  CHECK(read({"fhir", out("f.json")}) == 0);
  CHECK(read({"csv", out("t.csv"), out("d.csv")}) == 0);
  CHECK(read({"csv", out("o.csv"), out("d.csv")}) == 0);
  CHECK(read({"agree", out("r.json"), out("f.json"), out("t.csv"), out("o.csv")}) == 0);
  int drawings = 0;
  for (const auto& entry : std::filesystem::directory_iterator(out("figures"))) {
    ++drawings;
    const auto file = entry.path().string();
    if (entry.path().extension() == ".svg") CHECK(testing::run({"xmllint", "--noout", "--nonet", "--huge", file}).exit_code == 0);
    else CHECK(testing::run({"file", "--brief", file}).out.rfind("PNG image data", 0) == 0);
  }
  CHECK(drawings == 3);
}

TEST_CASE("exported photos have lost their position, unless it was asked for") {
  const testing::TempFolder folder;
  const std::string root = UROKO_SOURCE, reader = root + "/tests/report/read_back.py", photo = (folder / "pond.jpg").string(), book = (folder / "b.uroko").string();
  REQUIRE(testing::run({"python3", reader, "put-gps", root + "/sample_images/botan-left-flank-2026-03-02.jpg", photo}).exit_code == 0);
  REQUIRE(testing::run({"python3", reader, "no-gps", photo}).exit_code == 1);
  REQUIRE(testing::uroko({"book", "new", book}).exit_code == 0);
  REQUIRE(testing::uroko({"book", "add", book, photo, "--fish", "A", "--wound", "left", "--date", "2026-03-02"}).exit_code == 0);
  for (const bool keep : {false, true}) {
    const auto out = (folder / (keep ? "kept" : "clean")).string();
    std::vector<std::string> command{"book", "extract", book, "--photos", out, "--json"};
    if (keep) command.push_back("--keep-position");
    const auto files = json::parse(testing::uroko(command).out)["files"];
    REQUIRE(files.size() == 1);
    CHECK(testing::run({"python3", reader, "no-gps", files[0].get<std::string>()}).exit_code == (keep ? 1 : 0));
  }
  // Pictures made of photos carry none either.
  const auto annotated = (folder / "a.png").string();
  CHECK(testing::uroko({"measure", photo, "--card", "--seed", "2140,1160", "--annotated", annotated}).exit_code == 0);
  const auto png = read_file(annotated);
  for (const char* chunk : {"eXIf", "iTXt", "zTXt"}) CHECK(png.find(chunk) == std::string::npos);  // where a PNG keeps EXIF and XMP (PNG 1.5 and its extensions)
}
