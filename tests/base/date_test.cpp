#include <catch2/catch.hpp>

#include "uroko/base/date.h"

using uroko::DateTime;

TEST_CASE("ISO 8601 dates are read with or without time and offset") {
  CHECK(DateTime::parse("2026-03-02")->iso() == "2026-03-02");
  CHECK(DateTime::parse("2026-03-02T10:14")->iso() == "2026-03-02T10:14:00");
  CHECK(DateTime::parse("2026-03-02 10:14:05+09:00")->iso() == "2026-03-02T10:14:05+09:00");
  CHECK(DateTime::parse("2026-03-02T10:14:05Z")->utc_offset_min == 0);
  CHECK(DateTime::parse("2024-02-29"));
}

TEST_CASE("what is no date is refused") {
  for (const char* text : {"", "2026", "2026-3-2", "2026-02-29", "2026-13-01", "2026-03-02T25:00", "2026-03-02x", "02.03.2026", "2026-03-02T10:14:05+9"}) {
    INFO(text);
    CHECK_FALSE(DateTime::parse(text));
  }
}

TEST_CASE("EXIF's own form of a date is read, and its empty form is not one") {
  CHECK(DateTime::parse_exif("2026:03:02 10:14:00")->iso() == "2026-03-02T10:14:00");
  CHECK_FALSE(DateTime::parse_exif("0000:00:00 00:00:00"));
  CHECK_FALSE(DateTime::parse_exif("    :  :     :  :  "));
}

TEST_CASE("day numbers count civil days, and come back") {
  // 2000-01-01 is 10957 days after 1970-01-01 (30 years with 7 leap days).
  CHECK(DateTime::parse("2000-01-01")->day_number() == 10957);
  CHECK(DateTime::parse("2026-03-23")->day_number() - DateTime::parse("2026-03-02")->day_number() == 21);
  CHECK(DateTime::parse("2026-03-02T12:00")->days() - DateTime::parse("2026-03-02")->days() == Approx(0.5));
  for (long day = -1000; day < 40000; day += 37) CHECK(DateTime::from_day_number(day).day_number() == day);
}
