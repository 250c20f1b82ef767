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

TEST_CASE("a debridement restarts the baseline and its enlargement is no set-back") {
  Series series;
  series.looks = {look("2026-03-02", 450, 9), look("2026-03-06", 420, 9), look("2026-03-10T09:00", 395, 8), look("2026-03-10T11:00", 520, 10), look("2026-03-14", 480, 10), look("2026-03-18", 445, 9)};
  series.events = {{on("2026-03-10T10:00"), "debridement", ""}};
  const auto course = follow(series);
  REQUIRE(course.looks.size() == 6);
  CHECK(course.segment == std::vector<int>{0, 0, 0, 1, 1, 1});
  CHECK(course.baseline == 3);
  CHECK(course.verdict == Verdict::closing);
  CHECK(course.change_percent->value == Approx(100 * (445.0 / 520 - 1)));
  CHECK(says(course, "not counted as a set-back"));
  // Without times the smaller of the two is the one before.
  for (int i : {2, 3}) series.looks[i].date = on("2026-03-10");
  std::swap(series.looks[2], series.looks[3]);
  series.events[0].date = on("2026-03-10");
  const auto untimed = follow(series);
  CHECK(untimed.baseline == 3);
  CHECK(untimed.looks[3].area_mm2 == 520);
  CHECK(untimed.verdict == Verdict::closing);
  // The same areas without the note of the debridement must not be called closing.
  series.events.clear();
  CHECK(follow(series).verdict != Verdict::closing);
}

TEST_CASE("a debridement without a measure after it is said to be missing") {
  Series series;
  series.looks = {look("2026-03-02", 450, 9), look("2026-03-06", 420, 9), look("2026-03-10", 395, 8)};
  series.events = {{on("2026-03-11"), "debridement", ""}};
  const auto course = follow(series);
  CHECK(course.verdict == Verdict::too_soon);
  CHECK(says(course, "after the debridement of 2026-03-11 is missing"));
  // One look on the day, smaller than the one before: it was made before.
  series.events[0].date = on("2026-03-10");
  const auto same_day = follow(series);
  CHECK(same_day.segment.back() == 0);
  CHECK(says(same_day, "is missing"));
  // Larger than the one before: it was made after, and is the new baseline.
  series.looks[2].area_mm2 = 520;
  const auto larger = follow(series);
  CHECK(larger.baseline == 2);
  CHECK(larger.verdict == Verdict::too_soon);
  CHECK_FALSE(larger.change_percent);
}

TEST_CASE("one bad visit is named, left out and does not turn the verdict") {
  Series series;
  const double areas[] = {500, 460, 424, 390, 359, 330, 304};
  for (int i = 0; i < 7; ++i) series.looks.push_back({DateTime::from_day_number(20600 + 4 * i), areas[i], 0.03 * areas[i], 0, std::nullopt, 0});
  const auto clean = follow(series);
  CHECK(std::count(clean.doubtful.begin(), clean.doubtful.end(), true) == 0);
  for (int bad = 0; bad < 7; ++bad) {
    INFO("bad visit " << bad);
    auto spoiled = series;
    spoiled.looks[bad].area_mm2 *= 1.9;
    spoiled.looks[bad].u_mm2 *= 1.9;
    const auto course = follow(spoiled);
    CHECK(course.doubtful[bad]);
    CHECK(std::count(course.doubtful.begin(), course.doubtful.end(), true) == 1);
    CHECK(says(course, "the measure of " + spoiled.looks[bad].date.iso_date() + " does not fit"));
    CHECK(course.baseline == (bad == 0 ? 1 : 0));
    // A bad last visit may be a sudden change: then nothing is called closing.
    CHECK(course.verdict == (bad == 6 ? Verdict::too_soon : Verdict::closing));
  }
}

TEST_CASE("a stall after closing, a relapse and a late start are told from the looks since") {
  const auto course_of = [](std::vector<double> areas) {
    Series series;
    for (std::size_t i = 0; i < areas.size(); ++i) series.looks.push_back({DateTime::from_day_number(20600 + 5 * static_cast<long>(i)), areas[i], 0.03 * areas[i], 0, std::nullopt, 0});
    return follow(series);
  };
  const auto stalled = course_of({600, 500, 415, 345, 287, 286, 290, 284, 288, 286});
  CHECK(stalled.verdict == Verdict::no_detectable_change);
  CHECK(stalled.change_at == Approx(4).margin(1));
  CHECK(says(stalled, "no change is told any more"));
  CHECK_FALSE(stalled.closure);
  CHECK(course_of({600, 500, 415, 345, 300, 340, 390, 445, 510}).verdict == Verdict::enlarging);
  CHECK(course_of({600, 604, 597, 601, 500, 415, 345, 287}).verdict == Verdict::closing);
}

TEST_CASE("a small area counts as closed, a large one that is poorly known does not, and one that opens again enlarges") {
  Series series;
  series.looks = {look("2026-03-02", 120, 3), look("2026-03-09", 60, 2), look("2026-03-16", 0, 0)};
  const auto closed = follow(series);
  CHECK(closed.verdict == Verdict::closed);
  CHECK(closed.change_percent->value == Approx(-100));
  CHECK_FALSE(closed.closure);
  series.looks[2] = look("2026-03-16", 0.4, 0.3);
  CHECK(follow(series).verdict == Verdict::closed);
  series.looks[2] = look("2026-03-16", 2, 1.5);
  CHECK(follow(series).verdict == Verdict::closed);
  series.looks[2] = look("2026-03-16", 100, 60);
  CHECK(follow(series).verdict != Verdict::closed);
  series.looks[2] = look("2026-03-16", 0, 0);
  series.looks.push_back(look("2026-03-20", 35, 2));
  CHECK(follow(series).verdict == Verdict::enlarging);
  series.looks = {look("2026-03-02", 0, 0)};
  CHECK(follow(series).verdict == Verdict::closed);
  series.looks = {look("2026-03-02", 0, 0), look("2026-03-09", 0, 0)};
  const auto nothing = follow(series);
  CHECK(nothing.verdict == Verdict::closed);
  CHECK_FALSE(nothing.change_percent);
}

TEST_CASE("closure is refused below three visits and while the pace is within noise") {
  Series series;
  series.looks = {look("2026-03-02", 300, 6), look("2026-03-09", 200, 5)};
  const auto two = follow(series);
  CHECK(two.verdict == Verdict::closing);
  CHECK_FALSE(two.closure);
  CHECK(says(two, "fewer than three"));
  series.looks.push_back(look("2026-03-16", 130, 4));
  series.looks.push_back(look("2026-03-23", 80, 3));
  const auto four = follow(series);
  REQUIRE(four.closure);
  CHECK_FALSE(before(four.closure->latest, four.closure->earliest));
  CHECK(before(series.looks.back().date, four.closure->latest));
  CHECK(says(four, "slow down late"));
  // An even advance would close it on 13 April (sqrt A falls by 2.8 a week from 8.9): within the range.
  CHECK(before(four.closure->earliest, on("2026-04-14")));
  CHECK(before(on("2026-04-13"), four.closure->latest));
}

TEST_CASE("two looks with a small decrease are too soon to tell, as one of them may be wrong") {
  Series series;
  series.looks = {look("2026-03-02", 300, 4), look("2026-03-09", 264, 4)};
  const auto course = follow(series);
  CHECK(course.verdict == Verdict::too_soon);
  CHECK(says(course, "a third will tell"));
}

TEST_CASE("fallen water is said to slow healing, the bed's shift is told, and the rate around a treatment carries its interval") {
  Series series;
  const double areas[] = {500, 495, 503, 498, 440, 385, 340, 300};
  for (int i = 0; i < 8; ++i) {
    series.looks.push_back({DateTime::from_day_number(20600 + 5 * i), areas[i], 0.02 * areas[i], 0, std::nullopt, 0});
    series.water.push_back({series.looks.back().date, i < 5 ? 20.0 : 12.0});
  }
  series.looks.front().bed = std::array<double, bed::kTissues>{0.30, 0.55, 0.05, 0.05, 0.05, 0};
  series.looks.back().bed = std::array<double, bed::kTissues>{0.62, 0.20, 0.05, 0.08, 0.05, 0};
  series.events = {{DateTime::from_day_number(20615), "topical", ""}};
  const auto course = follow(series);
  CHECK(says(course, "water fell from 20 to 12 \u00b0C by " + DateTime::from_day_number(20625).iso_date()));
  CHECK(says(course, "slower healing is expected"));
  CHECK(says(course, "granulation up from 30 to 62 %"));
  CHECK(says(course, "slough down from 55 to 20 %"));
  REQUIRE(course.rate_changes.size() == 1);
  const auto& change = course.rate_changes[0];
  CHECK(change.before.low95 < 0);
  CHECK(change.before.high95 > 0);
  CHECK(change.after.low95 > 1.5);
  CHECK(change.after.high95 < 3.5);  // ln(498/300)/20 = 2.5 % a day
  CHECK(change.difference.low95 > 0);
  CHECK(says(course, "need not have come from it"));
}

TEST_CASE("no reason names a treatment that was not logged or tells anyone what to give") {
  Series series;
  series.looks = {look("2026-03-02", 300, 9), look("2026-03-09", 350, 9), look("2026-03-16", 410, 9), look("2026-03-23", 480, 9)};
  const auto course = follow(series);
  REQUIRE(course.verdict == Verdict::enlarging);
  for (const char* word : {"debride", "inject", "antibiotic", "dose", "treat", "should", "give "}) CHECK_FALSE(says(course, word));
  CHECK(says(course, "look next at"));
}

TEST_CASE("degree-days are the area under the readings above the base") {
  const auto at = [](long day, double c) { return Reading{DateTime::from_day_number(day), c}; };
  const auto day = [](long d) { return DateTime::from_day_number(d); };
  CHECK(*degree_days({at(0, 20), at(10, 20)}, day(0), day(10), 0) == Approx(200));
  CHECK(*degree_days({at(10, 10), at(0, 20)}, day(0), day(10), 0) == Approx(150));
  CHECK(*degree_days({at(0, 20), at(10, 10)}, day(2), day(6), 0) == Approx((18 + 14) / 2.0 * 4));
  // Above base 15 only the first half counts: a triangle of 5 degC by 5 days.
  CHECK(*degree_days({at(0, 20), at(10, 10)}, day(0), day(10), 15) == Approx(12.5));
  CHECK(*degree_days({at(0, 10), at(10, 20)}, day(0), day(10), 15) == Approx(12.5));
  CHECK(*degree_days({at(0, 10), at(10, 12)}, day(0), day(10), 15) == 0);
  // Held three days beyond the readings, no further.
  CHECK(*degree_days({at(2, 20), at(8, 20)}, day(0), day(10), 0) == Approx(200));
  CHECK_FALSE(degree_days({at(4, 20), at(8, 20)}, day(0), day(10), 0));
  CHECK_FALSE(degree_days({at(0, 20)}, day(0), day(10), 0));
  CHECK_FALSE(degree_days({}, day(0), day(10), 0));
  double gap = 0;
  degree_days({at(0, 20), at(9, 20), at(10, 20)}, day(0), day(10), 0, &gap);
  CHECK(gap == 9);
}

TEST_CASE("missing water, long gaps, missing uncertainties, repeats of a day and future dates are each said") {
  Series series;
  series.looks = {look("2026-03-02", 300, 6), look("2026-03-09", 280, 0), look("2026-03-16", 262, 6), look("2026-03-16", 258, 6)};
  CourseOptions options;
  options.today = on("2026-03-12");
  series.water = {{on("2026-03-02"), 18}};
  auto course = follow(series, options);
  REQUIRE(course.looks.size() == 3);
  CHECK(course.looks.back().area_mm2 == Approx(260));
  CHECK(course.looks.back().u_mm2 == Approx(6 / std::sqrt(2)));
  CHECK(course.from.back().size() == 2);
  CHECK_FALSE(course.span_degree_days);
  CHECK(says(course, "do not cover the course"));
  CHECK(says(course, "2 measures of 2026-03-16 are averaged"));
  CHECK(says(course, "1 of the areas come without uncertainty"));
  CHECK(says(course, "2026-03-16 lies in the future"));
  series.water.push_back({on("2026-03-16"), 18});
  course = follow(series, options);
  CHECK(*course.span_degree_days == Approx(14 * 18));
  CHECK(says(course, "14 days on end"));
}

TEST_CASE("without any uncertainty a tenth is assumed until the visits show their own spread") {
  const auto interval = [](const std::vector<double>& areas) {
    Series series;
    for (std::size_t i = 0; i < areas.size(); ++i) series.looks.push_back({DateTime::from_day_number(20600 + 4 * static_cast<long>(i)), areas[i], 0, 0, std::nullopt, 0});
    const auto course = follow(series);
    CHECK(says(course, "come without uncertainty"));
    return course.change_percent->high95 - course.change_percent->low95;
  };
  const double two = interval({400, 380}), smooth = interval({400, 396, 392, 388, 384, 380, 380, 380});
  CHECK(two > 40);  // about 2 x t(6) sqrt 2 x 10 % x 0.95 = 66
  CHECK(two < 90);
  CHECK(smooth < 0.7 * two);
}

TEST_CASE("what is no number, negative or not there is refused") {
  CHECK_THROWS_AS(follow({}), std::invalid_argument);
  Series series;
  series.looks = {look("2026-03-02", NAN, 1)};
  CHECK_THROWS_AS(follow(series), std::invalid_argument);
  series.looks = {look("2026-03-02", -1, 1)};
  CHECK_THROWS_AS(follow(series), std::invalid_argument);
  series.looks = {look("2026-03-02", 10, NAN)};
  CHECK_THROWS_AS(follow(series), std::invalid_argument);
  series.looks = {look("2026-03-02", 10, 1)};
  series.water = {{on("2026-03-02"), NAN}};
  CHECK_THROWS_AS(follow(series), std::invalid_argument);
}

TEST_CASE("ten thousand looks are followed") {
  Series series;
  for (int i = 0; i < 10000; ++i) {
    const double area = 500 * std::exp(-0.0004 * i) * (1 + 0.03 * std::sin(i * 12.9898));
    series.looks.push_back({DateTime::from_day_number(15000 + i), area, 0.03 * area, 0, std::nullopt, 0});
  }
  const auto course = follow(series);
  CHECK(course.looks.size() == 10000);
  CHECK(course.verdict == Verdict::closing);
}
