#include "uroko/base/json.h"

#include <catch2/catch.hpp>
#include <limits>

using namespace uroko;

TEST_CASE("whole numbers of JSON that anyone may have written come out in range, whatever they were") {
  const auto of = [](const char* text) { return whole_number(nlohmann::json::parse(text), -5, 300); };
  CHECK(of("0") == 0);
  CHECK(of("150") == 150);
  CHECK(of("-3") == -3);
  CHECK(of("9555555555555555555555500") == 300);  // more than 2^64: the library keeps a double
  CHECK(of("1e300") == 300);
  CHECK(of("-1e300") == -5);
  CHECK(of("18446744073709551615") == 300);
  CHECK(of("-9223372036854775808") == -5);
  CHECK(of("12.9") == 12);
  CHECK_THROWS_AS(of("\"7\""), nlohmann::json::type_error);
  CHECK_THROWS_AS(of("null"), nlohmann::json::type_error);

  constexpr auto most = std::numeric_limits<std::int64_t>::max();
  const auto wide = [](const char* text) { return whole_number<std::int64_t>(nlohmann::json::parse(text), 0, most); };
  CHECK(wide("9223372036854775807") == most);
  CHECK(wide("9.3e18") == most);
  CHECK(wide("-1") == 0);
  CHECK(whole_number<std::size_t>(nlohmann::json::parse("-1"), 0, 9) == 0);
  CHECK(whole_number<std::size_t>(nlohmann::json::parse("1e19"), 2, 9) == 9);
}
