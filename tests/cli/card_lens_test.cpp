#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "support/command.h"
#include "support/temp_folder.h"

using namespace uroko::testing;

namespace {

long lines(const std::string& text) { return std::count(text.begin(), text.end(), '\n'); }

}  // namespace

TEST_CASE("card writes a page or the card alone and says its size in mm") {
  TempFolder folder;
  const auto png = (folder / "card.png").string();
  const auto drawn = uroko::testing::uroko({"card", png, "--json"});
  REQUIRE(drawn.exit_code == 0);
  const auto size = nlohmann::json::parse(drawn.out);
  CHECK(size.size() == 3);
  const auto alone = nlohmann::json::parse(uroko::testing::uroko({"card", "--json"}).out);
  CHECK(alone == size);
  // The PNG header's width and height: bytes 16..23, most significant first.
  std::ifstream in(png, std::ios::binary);
  std::string head(24, '\0');
  in.read(head.data(), 24);
  const auto number = [&](std::size_t at) {
    long v = 0;
    for (std::size_t i = 0; i < 4; ++i) v = v * 256 + static_cast<unsigned char>(head[at + i]);
    return v;
  };
  CHECK(static_cast<double>(number(16)) == size["width_mm"].get<double>() * size["px_per_mm"].get<double>());
  CHECK(static_cast<double>(number(20)) == size["height_mm"].get<double>() * size["px_per_mm"].get<double>());
  for (const std::string paper : {"a4", "letter"}) {
    const auto pdf = (folder / (paper + ".pdf")).string();
    const auto page = uroko::testing::uroko({"card", pdf, "--paper", paper});
    CHECK(page.exit_code == 0);
    CHECK(page.out.find("print at 100 %") != std::string::npos);
    // ISO 216 A4 is 595 x 842 points; letter is 612 x 792.
    CHECK(run({"pdfinfo", pdf}).out.find(paper == "a4" ? "595.2" : "612") != std::string::npos);
    // Every font is embedded, so that no printer substitutes one: below pdffonts' two heading lines, "yes" in the column emb.
    const auto fonts = run({"pdffonts", pdf});
    CHECK(fonts.exit_code == 0);
    REQUIRE(lines(fonts.out) > 2);
    std::istringstream rows(fonts.out);
    std::string heading, row;
    std::getline(rows, heading);
    const auto column = heading.find("emb");
    REQUIRE(column != std::string::npos);
    std::getline(rows, row);
    while (std::getline(rows, row)) CHECK(row.substr(column, 3) == "yes");
  }
  CHECK(uroko::testing::uroko({"card", (folder / "c.svg").string()}).exit_code == 0);
  CHECK(run({"xmllint", "--noout", (folder / "c.svg").string()}).exit_code == 0);
  CHECK(uroko::testing::uroko({"card", (folder / "sheet.pdf").string(), "--lens-sheet"}).exit_code == 0);
}

TEST_CASE("card refuses other file names, an unknown paper, nothing to do and a folder that is not there, with one line each") {
  TempFolder folder;
  for (const auto& arguments : std::vector<std::vector<std::string>>{{"card", (folder / "c.bmp").string()},
                                                                     {"card"},
                                                                     {"card", (folder / "c.pdf").string(), "--paper", "a3"},
                                                                     {"card", (folder / "c.png").string(), "--px-per-mm", "0"}}) {
    const auto ran = uroko::testing::uroko(arguments);
    CHECK(ran.exit_code == 2);
    CHECK(lines(ran.err) == 1);
    CHECK(ran.out.empty());
  }
  CHECK(uroko::testing::uroko({"card", (folder / "no" / "c.pdf").string()}).exit_code == 3);
  CHECK(std::filesystem::is_empty(folder / "."));
}

TEST_CASE("lens makes a profile from opencv-doc's boards, prints RMS and coverage, and refuses what it cannot use") {
  TempFolder folder;
  const std::filesystem::path boards = "/usr/share/doc/opencv-doc/examples/data";
  const auto out = (folder / "p.json").string();
  const auto missing = uroko::testing::uroko({"lens", "/nowhere.jpg", "--board", "9x6", "--square", "25", "-o", out});
  CHECK(missing.exit_code == 3);
  CHECK(lines(missing.err) == 1);
  if (!std::filesystem::exists(boards / "right01.jpg")) {
    WARN("skipped: Debian's opencv-doc is not installed");
    return;
  }
  std::vector<std::string> arguments{"lens"};
  for (const char* n : {"01", "02", "03", "04", "05", "06", "07", "08"}) arguments.push_back((boards / ("right" + std::string(n) + ".jpg")).string());
  auto few = std::vector<std::string>(arguments.begin(), arguments.begin() + 4);
  const auto add = [&](std::vector<std::string> a, const std::vector<std::string>& more) {
    a.insert(a.end(), more.begin(), more.end());
    return uroko::testing::uroko(a);
  };
  CHECK(add(few, {"--board", "9x6", "--square", "25", "-o", out}).exit_code == 1);
  CHECK(add(few, {"--board", "nine", "--square", "25", "-o", out}).exit_code == 2);
  CHECK(add(few, {"--board", "9x6", "-o", out}).exit_code == 2);
  CHECK_FALSE(std::filesystem::exists(out));
  const auto made = add(arguments, {"--board", "9x6", "--square", "25", "-o", out});
  REQUIRE(made.exit_code == 0);
  CHECK(made.out.find("reprojection RMS") != std::string::npos);
  CHECK(made.out.find("of the frame covered") != std::string::npos);
  const auto profile = nlohmann::json::parse(std::ifstream(out));
  CHECK(profile["rms_px"].get<double>() < 0.4);
  CHECK(profile["coverage"].get<double>() > 0.2);
  CHECK(profile["width_px"] == 640);
}
