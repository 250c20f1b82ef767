#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "uroko/healing/series.h"

using namespace uroko;
using namespace uroko::healing;

namespace {

DateTime on(const char* text) { return *DateTime::parse(text); }
Look look(const char* date, double area, double u, double perimeter = 0) { return {on(date), area, u, perimeter, std::nullopt, 0}; }

bool says(const Course& course, const std::string& part) {
  for (const auto& reason : course.reasons)
    if (reason.find(part) != std::string::npos) return true;
  for (const auto& warning : course.warnings)
    if (warning.text.find(part) != std::string::npos) return true;
  return false;
}

}  // namespace

TEST_CASE("a circle that shrinks from 10 to 8 mm in 14 days has the worked example's advance, change, rate and half-time") {
  // Derived: radius -2.0000 mm, 2/14 mm/d, 1 - 0.64 = 36.00 %, k = ln(1/0.64)/14 = 0.031878/d, ln 2/k = 21.744 d.
  const double pi = std::numbers::pi;
  Series series;
  series.looks = {look("2026-03-02", 100 * pi, 3, 20 * pi), look("2026-03-16", 64 * pi, 2, 16 * pi)};
  const auto course = follow(series);
  REQUIRE(course.advance_mm_per_day);
  CHECK(course.advance_mm_per_day->value * course.span_days == Approx(2.0).epsilon(1e-12));
  CHECK(course.advance_mm_per_day->value == Approx(0.142857).margin(5e-7));
  CHECK(course.change_percent->value == Approx(-36).epsilon(1e-12));
  CHECK(course.rate_percent_per_day->value == Approx(3.1878).margin(5e-5));
  CHECK(course.half_time_days->value == Approx(21.744).margin(5e-4));
  CHECK(course.verdict == Verdict::closing);
  // Without perimeters the circle is assumed, and said.
  for (auto& l : series.looks) l.perimeter_mm = 0;
  const auto round = follow(series);
  CHECK(round.advance_mm_per_day->value == Approx(2.0 / 14).epsilon(1e-12));
  CHECK(says(round, "circle of the same area"));
}

TEST_CASE("a rectangle that shrinks by two millimetres on every side advances two millimetres") {
  Series series;
  series.looks = {look("2026-03-02", 200, 4, 60), look("2026-03-16", 96, 2, 44)};  // 20 x 10 -> 16 x 6 mm
  const auto course = follow(series);
  CHECK(course.advance_mm_per_day->value * 14 == Approx(2.0).epsilon(1e-12));
  CHECK(course.change_percent->value == Approx(-52).epsilon(1e-12));
}

TEST_CASE("a wound that holds its size shows no detectable change, a growing one enlarges, one look is too soon") {
  Series series;
  series.looks = {look("2026-03-02", 300, 12), look("2026-03-09", 306, 12), look("2026-03-16", 296, 12), look("2026-03-23", 301, 12)};
  CHECK(follow(series).verdict == Verdict::no_detectable_change);
  series.looks = {look("2026-03-02", 300, 9), look("2026-03-09", 340, 9), look("2026-03-16", 390, 9), look("2026-03-23", 445, 9)};
  CHECK(follow(series).verdict == Verdict::enlarging);
  series.looks.resize(1);
  const auto one = follow(series);
  CHECK(one.verdict == Verdict::too_soon);
  CHECK_FALSE(one.change_percent);
  CHECK_FALSE(one.advance_mm_per_day);
  CHECK_FALSE(one.closure);
}
