#include <catch2/catch.hpp>

#include "uroko/base/error.h"

using namespace uroko;

TEST_CASE("an error is one line, whatever the file's words hold") {
  const Error error(Fault::input, "cell", "a\nb.csv", "date is \"20\r\n26\x1b[2J\", not a date", "write it as 2026-03-02");
  const std::string said = error.what();
  CHECK(said.find_first_of("\n\r\x1b") == std::string::npos);
  CHECK(said.find("not a date; write it as 2026-03-02") != std::string::npos);
  CHECK(error.file() == std::filesystem::path("a\nb.csv"));
}
