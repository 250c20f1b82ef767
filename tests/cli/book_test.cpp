#include <catch2/catch.hpp>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "support/command.h"
#include "support/temp_folder.h"
#include "uroko/base/file.h"

using nlohmann::json;
using uroko::testing::Ran;
using uroko::testing::TempFolder;
namespace fs = std::filesystem;

namespace {

const std::string kSamples = std::string(UROKO_SOURCE) + "/sample_images/";

Ran command(std::vector<std::string> arguments) { return uroko::testing::uroko(std::move(arguments)); }

json answer(std::vector<std::string> arguments) {
  arguments.push_back("--json");
  const auto ran = command(arguments);
  INFO(ran.err);
  CHECK(ran.exit_code == 0);
  return json::parse(ran.out);
}

void one_clear_line(const Ran& ran, int exit_code) {
  INFO(ran.err);
  CHECK(ran.exit_code == exit_code);
  CHECK(ran.err.rfind("uroko: ", 0) == 0);
  CHECK(std::count(ran.err.begin(), ran.err.end(), '\n') == 1);
}

}  // namespace

TEST_CASE("a book's whole way on the command line: new, add, log, measure, list, curve, due, check, backup, restore, export, import") {
  TempFolder temp;
  const std::string book = temp / "koi.uroko";
  answer({"book", "new", book});
  const auto first = kSamples + "botan-left-flank-2026-03-02.jpg", second = kSamples + "botan-left-flank-2026-03-05.jpg";
  const auto added = answer({"book", "add", book, first, second, "--fish", "Botan", "--wound", "left", "--water", "18.5", "--weight", "1500"});
  REQUIRE(added["photos"].size() == 2);
  CHECK(added["photos"][0]["status"] == "added");
  CHECK(added["photos"][0]["date"] == "2026-03-02");
  CHECK(added["photos"][0]["date_from"] == "exif");
  CHECK(answer({"book", "add", book, first, "--fish", "Botan", "--wound", "left"})["photos"][0]["status"] == "already");
  answer({"book", "log", book, "--fish", "Botan", "--wound", "left", "--date", "2026-03-06", "--event", "debridement", "--note", "loose scales"});

  auto list = answer({"book", "list", book});
  REQUIRE(list["fish"].size() == 1);
  auto wound = list["fish"][0]["wounds"][0];
  CHECK(wound["name"] == "left");
  REQUIRE(wound["visits"].size() == 2);
  CHECK(wound["visits"][0]["date"] == "2026-03-02");
  CHECK(wound["visits"][0]["photos"][0].get<std::string>() == uroko::sha256_hex(uroko::read_file(first)));
  CHECK(wound["visits"][0]["area_mm2"].is_null());
  one_clear_line(command({"book", "curve", book, "--fish", "Botan", "--wound", "left"}), 1);

  const auto measured = answer({"book", "measure", book});
  CHECK(measured["measured"] == 2);
  CHECK(answer({"book", "measure", book})["photos"].empty());
  list = answer({"book", "list", book});
  CHECK(list["fish"][0]["wounds"][0]["visits"][0]["area_mm2"].get<double>() > 0);
  const auto curve = answer({"book", "curve", book, "--fish", "Botan", "--wound", "left"});
  CHECK(curve["visits"] == 2);
  CHECK(curve.contains("verdict"));

  const auto due = answer({"book", "due", book, "--on", "2026-03-10"});
  REQUIRE(due["due"].size() == 1);
  CHECK(due["due"][0]["state"] == "overdue");

  const auto check = answer({"book", "check", book});
  CHECK(check["ok"] == true);
  CHECK(check["problems"].empty());
  answer({"book", "backup", book, temp / "koi.backup"});
  const std::string restored = temp / "again.uroko";
  answer({"book", "restore", temp / "koi.backup", restored});
  CHECK(answer({"book", "list", restored}) == list);
  answer({"book", "export", book, "--out", temp / "koi.bundle"});
  const std::string other = temp / "other.uroko";
  answer({"book", "new", other});
  CHECK(answer({"book", "import", other, temp / "koi.bundle"})["added"]["photos"] == 2);
  CHECK(answer({"book", "list", other}) == list);
  const auto table = command({"book", "export", book, "--csv"});
  CHECK(table.out == command({"book", "export", other, "--csv"}).out);
  CHECK(answer({"book", "undo", other})["undone"] == "Import koi.bundle");
  CHECK(answer({"book", "list", other})["fish"].empty());
}

TEST_CASE("the dose sheet on the command line: 10 mg/kg x 1.5 kg / 50 mg/mL = 0.30 mL, and what it refuses") {
  TempFolder temp;
  const std::string book = temp / "koi.uroko";
  answer({"book", "new", book});
  answer({"book", "fish", book, "--fish", "A", "--place", "pond 1"});
  one_clear_line(command({"book", "dose", book, "--fish", "A", "--mg-per-kg", "10", "--strength", "50"}), 2);  // not weighed yet
  answer({"book", "weigh", book, "--fish", "A", "--date", "2026-03-02", "--grams", "1500"});
  const auto id = answer({"book", "prescribe", book, "--fish", "A", "--date", "2026-03-02", "--drug", "as written", "--mg-per-kg", "10", "--interval-hours", "48", "--doses", "3"})["prescription"]["id"];
  const auto sheet = answer({"book", "dose", book, "--prescription", std::to_string(id.get<int>()), "--strength", "5 %", "--date", "2026-03-03", "--graduation", "0.01"});
  CHECK(sheet["ml"].get<double>() == Approx(0.30).epsilon(1e-12));
  CHECK(sheet["rounded"]["ml"].get<double>() == Approx(0.30));
  CHECK(sheet["weighed"] == "2026-03-02");
  CHECK(sheet["cautions"].size() >= 3);
  one_clear_line(command({"book", "dose", book, "--fish", "A", "--mg-per-kg", "1,234", "--strength", "50"}), 2);
  CHECK(answer({"book", "due", book, "--on", "2026-03-02"})["due"][0]["kind"] == "next dose");
}

TEST_CASE("what a book refuses has its exit code and one clear line, with nothing on stdout") {
  TempFolder temp;
  const std::string book = temp / "koi.uroko";
  one_clear_line(command({"book", "list", book}), 4);
  answer({"book", "new", book});
  one_clear_line(command({"book", "new", book}), 4);
  one_clear_line(command({"book", "new", temp / "koi.db"}), 2);
  one_clear_line(command({"book", "add", book, temp / "none.jpg", "--fish", "A", "--wound", "w", "--date", "2026-03-02"}), 3);
  one_clear_line(command({"book", "add", book, temp / "none.jpg", "--fish", "A", "--wound", "w", "--date", "soon"}), 2);
  one_clear_line(command({"book", "log", book, "--fish", "A", "--date", "2026-03-02", "--event", "cleaning"}), 2);
  one_clear_line(command({"book", "import", book, temp / "none.csv"}), 3);
  one_clear_line(command({"book", "restore", temp / "none", temp / "b.uroko"}), 3);
  one_clear_line(command({"book", "frobnicate", book}), 2);
  const auto file = temp / "koi.uroko" / "book.sqlite";
  auto bytes = uroko::read_file(file);
  bytes.resize(bytes.size() / 2);
  uroko::write_file_whole(file, bytes);
  const auto listed = command({"book", "list", book, "--json"});
  one_clear_line(listed, 4);
  CHECK(listed.out.empty());
  const auto checked = command({"book", "check", book, "--json"});
  CHECK(checked.exit_code == 4);
  CHECK(json::parse(checked.out)["ok"] == false);
}

TEST_CASE("a visit on the command line is corrected, put aside and brought back, names are changed, and what is not there is one clear line") {
  TempFolder temp;
  const std::string book = temp / "koi.uroko";
  answer({"book", "new", book});
  answer({"book", "add", book, kSamples + "botan-left-flank-2026-03-02.jpg", "--fish", "Botan", "--wound", "left", "--date", "2025-03-02"});
  const std::vector<std::string> visit{"book", "visit", book, "--fish", "Botan", "--wound", "left", "--date"};
  const auto with = [&](std::vector<std::string> more) {
    auto all = visit;
    all.insert(all.end(), more.begin(), more.end());
    return all;
  };
  one_clear_line(command(with({"2025-03-02"})), 2);
  one_clear_line(command(with({"2026-03-02", "--note", "n"})), 2);
  one_clear_line(command(with({"2025-03-02", "--to-wound", "nowhere"})), 2);
  answer(with({"2025-03-02", "--to-date", "2026-03-02", "--water", "17.5", "--note", "calm", "--moment", "after"}));
  const auto first = [&] { return answer({"book", "list", book})["fish"][0]; };
  CHECK(first()["wounds"][0]["visits"][0]["date"] == "2026-03-02");
  CHECK(first()["wounds"][0]["visits"][0]["water_c"] == 17.5);
  answer(with({"2026-03-02", "--aside"}));
  CHECK(first()["wounds"][0]["visits"].empty());
  answer({"book", "undo", book});
  CHECK(first()["wounds"][0]["visits"].size() == 1);
  answer({"book", "fish", book, "--fish", "Botan", "--name", "Botan II", "--wound", "left", "--wound-name", "caudal"});
  CHECK(first()["name"] == "Botan II");
  CHECK(first()["wounds"][0]["name"] == "caudal");
  CHECK(answer({"book", "check", book})["ok"] == true);
}
