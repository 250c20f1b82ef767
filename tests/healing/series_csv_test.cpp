#include <catch2/catch.hpp>
#include <fstream>

#include "support/temp_folder.h"
#include "uroko/base/error.h"
#include "uroko/healing/series_csv.h"

using namespace uroko;
using namespace uroko::healing;

namespace {

std::string complaint(const std::string& text) {
  try {
    parse_series_csv(text, "s.csv");
  } catch (const Error& e) {
    CHECK(e.exit_code() == 3);
    CHECK(std::string(e.what()).find("s.csv") != std::string::npos);
    CHECK_FALSE(e.advice().empty());
    return e.happened();
  }
  return "";
}

}  // namespace

TEST_CASE("a series is read with measures, readings and events in any order of columns") {
  const auto series = parse_series_csv(
      "\xEF\xBB\xBF"
      "event, Area_mm2,date,u_mm2,water_c,perimeter_mm\r\n"
      ",456.5,2026-03-02,4.1,18.5,80\r\n"
      "\r\n"
      "\"injection; topical\",,2026-03-03T10:00,,,\r\n"
      "Debridement,480,2026-03-09,,17,\r\n",
      "s.csv");
  REQUIRE(series.looks.size() == 2);
  CHECK(series.looks[0].area_mm2 == 456.5);
  CHECK(series.looks[0].u_mm2 == 4.1);
  CHECK(series.looks[0].perimeter_mm == 80);
  CHECK(series.looks[1].u_mm2 == 0);
  REQUIRE(series.events.size() == 3);
  CHECK(series.events[0].kind == "injection");
  CHECK(series.events[1].kind == "topical");
  CHECK(series.events[2].kind == "debridement");
  CHECK(series.water.size() == 2);
}

TEST_CASE("a heading without rows is an empty series, an empty file is refused") {
  CHECK(parse_series_csv("date,area_mm2,u_mm2\n", "s.csv").looks.empty());
  CHECK(complaint("") == "the file is empty");
  CHECK(complaint("\n\n") == "the file is empty");
}

TEST_CASE("each bad cell is named with its line") {
  const std::string head = "date,area_mm2,u_mm2,perimeter_mm,water_c,event\n";
  CHECK(complaint(head + "2026-03-02,10,1,,,\n2026-02-30,10,1,,,\n").find("line 3: \"2026-02-30\" is not a date") == 0);
  CHECK(complaint(head + "2026-03-02,nan,1,,,\n").find("line 2: area_mm2 is \"nan\"") == 0);
  CHECK(complaint(head + "2026-03-02,inf,1,,,\n").find("line 2: area_mm2") == 0);
  CHECK(complaint(head + "\n2026-03-02,-5,1,,,\n").find("line 3: area_mm2 is -5") == 0);
  CHECK(complaint(head + "2026-03-02,10,x,,,\n").find("line 2: u_mm2") == 0);
  CHECK(complaint(head + "2026-03-02,10,1,,180,\n").find("line 2: water_c is 180") == 0);
  CHECK(complaint(head + "2026-03-02,,,,,\n").find("line 2: the row has a date but no area") == 0);
  CHECK(complaint(head + "2026-03-02,10,1,,,,,\n").find("line 2: there are 8 cells under 6 columns") == 0);
  CHECK(complaint(head + "2026-03-02,10,1,,,\"debridement\n").find("line 2") != std::string::npos);
  CHECK(complaint("when,size\n2026-03-02,10\n").find("line 1: there is no column date") == 0);
  CHECK(complaint("date;area_mm2\n2026-03-02;10\n").find("line 1: there is no column date") == 0);
  CHECK(complaint("date,area_mm2,date\n").find("line 1: the column date stands there twice") == 0);
  CHECK(complaint(std::string("\x89PNG\0\0", 6)).find("not a text file") != std::string::npos);
}

TEST_CASE("columns that are not used are said") {
  std::vector<Warning> notes;
  parse_series_csv("date,area_mm2,colour\n2026-03-02,10,red\n", "s.csv", &notes);
  REQUIRE(notes.size() == 1);
  CHECK(notes[0].text.find("colour") != std::string::npos);
}

TEST_CASE("a file that is not there is an input error") {
  testing::TempFolder folder;
  try {
    read_series_csv(folder / "none.csv");
    FAIL("no error");
  } catch (const Error& e) {
    CHECK(e.exit_code() == 3);
  }
}
