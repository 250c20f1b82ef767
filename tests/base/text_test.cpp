#include <catch2/catch.hpp>

#include "uroko/base/csv.h"
#include "uroko/base/estimate.h"
#include "uroko/base/text.h"

using namespace uroko;

TEST_CASE("numbers for machines are read whole or not at all") {
  CHECK(parse_number("12.5") == 12.5);
  CHECK(parse_number("-3e2") == -300);
  CHECK(parse_number("+4") == 4);
  for (const char* text : {"", "12,5", "1 2", "nan", "inf", "12mm", "0x10", "1e999"}) CHECK_FALSE(parse_number(text));
}

TEST_CASE("a person may type a decimal comma, but not a number that could be a grouped thousand") {
  CHECK(parse_typed_number(" 12,5 ") == 12.5);
  CHECK(parse_typed_number("0,234") == 0.234);
  CHECK(parse_typed_number("1,2345") == 1.2345);
  CHECK_FALSE(parse_typed_number("1,234"));
  CHECK_FALSE(parse_typed_number("12,345"));
  CHECK_FALSE(parse_typed_number("1,234.5"));
  CHECK_FALSE(parse_typed_number("1,2,3"));
}

TEST_CASE("numbers are written so that they read back the same, and never as minus zero") {
  for (const double value : {0.1, 1.0 / 3, 1e-300, 456.5, -2.0}) CHECK(parse_number(number_text(value)) == value);
  CHECK(fixed_text(-0.04, 1) == "0.0");
  CHECK(fixed_text(-0.06, 1) == "-0.1");
}

TEST_CASE("CSV rows survive the round trip with quotes, commas and line ends (RFC 4180)") {
  const std::vector<std::string> row = {"a", "", "b,c", "say \"hi\"", "two\r\nlines", " blank "};
  const auto back = parse_csv(csv_row(row) + csv_row({"x"}));
  REQUIRE(back.size() == 2);
  CHECK(back[0] == row);
  CHECK(parse_csv("\xEF\xBB\xBF" "a,b\n1,2").at(1).at(1) == "2");
  CHECK_THROWS_WITH(parse_csv("a\n\"open"), Catch::Contains("line 2"));
  CHECK_THROWS_WITH(parse_csv("a\"b"), Catch::Contains("quote"));
}

TEST_CASE("text that a spreadsheet would run is neutralised and restored exactly") {
  for (const std::string text : {"=1+1", "+x", "-x", "@x", "\tx", "'quoted", "''", "plain", "", "'=x"}) {
    INFO(text);
    const auto safe = neutralise_formula(text);
    CHECK((safe.empty() || std::string("=+-@\t\r").find(safe[0]) == std::string::npos));
    CHECK(restore_formula(safe) == text);
  }
}

TEST_CASE("Student t quantiles are those of the printed tables") {
  // NIST/SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.2 (upper critical values, 0.975).
  CHECK(t_quantile(0.975, 1) == Approx(12.706).margin(5e-4));
  CHECK(t_quantile(0.975, 5) == Approx(2.571).margin(5e-4));
  CHECK(t_quantile(0.975, 30) == Approx(2.042).margin(5e-4));
  CHECK(t_quantile(0.975, std::numeric_limits<double>::infinity()) == Approx(1.960).margin(5e-4));
}

TEST_CASE("a row of one empty field and one that begins like a UTF-8 mark come back from a table") {
  const std::vector<std::vector<std::string>> rows = {{"\xEF\xBB\xBF" "a", "b"}, {""}, {"", ""}};
  std::string table;
  for (const auto& row : rows) table += csv_row(row);
  CHECK(parse_csv(table) == rows);
}
