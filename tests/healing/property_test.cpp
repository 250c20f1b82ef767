#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "uroko/base/random.h"
#include "uroko/healing/series.h"

using namespace uroko;
using namespace uroko::healing;

namespace {

Series some_course(Random& random) {
  Series series;
  const int n = 2 + random.index(9);
  const double rate = random.uniform(-0.03, 0.07), cv = random.uniform(0.02, 0.12);
  long day = 20600;
  const double start = random.uniform(80, 600);
  for (int i = 0; i < n; ++i) {
    const double area = start * std::exp(-rate * static_cast<double>(day - 20600)) * std::max(0.3, 1 + random.normal(0, cv));
    series.looks.push_back({DateTime::from_day_number(day), area, cv * area, 4 * std::sqrt(area), std::nullopt, 0});
    if (random.uniform() < 0.7) series.water.push_back({series.looks.back().date, random.uniform(8, 24)});
    day += 2 + random.index(7);
  }
  if (random.uniform() < 0.4) series.events.push_back({series.looks[random.index(n)].date, "debridement", ""});
  if (random.uniform() < 0.4) series.events.push_back({series.looks[random.index(n)].date, "topical", ""});
  return series;
}

void same(const std::optional<Estimate>& a, const std::optional<Estimate>& b, double factor = 1) {
  REQUIRE(a.has_value() == b.has_value());
  if (!a) return;
  CHECK(b->value == Approx(factor * a->value).margin(1e-9));
  CHECK(b->low95 == Approx(factor * a->low95).epsilon(1e-6).margin(1e-7));
  CHECK(b->high95 == Approx(factor * a->high95).epsilon(1e-6).margin(1e-7));
}

}  // namespace

TEST_CASE("shifting all dates leaves the verdict and the estimates unchanged and moves the closure range along") {
  const std::uint64_t seed = 61;
  INFO("seed " << seed);
  Random random(seed);
  for (int k = 0; k < 60; ++k) {
    const auto series = some_course(random);
    auto moved = series;
    const long by = 1 + random.index(5000);
    for (auto& l : moved.looks) l.date = DateTime::from_day_number(l.date.day_number() + by);
    for (auto& w : moved.water) w.date = DateTime::from_day_number(w.date.day_number() + by);
    for (auto& e : moved.events) e.date = DateTime::from_day_number(e.date.day_number() + by);
    const auto a = follow(series), b = follow(moved);
    CHECK(a.verdict == b.verdict);
    same(a.change_percent, b.change_percent);
    same(a.advance_mm_per_day, b.advance_mm_per_day);
    REQUIRE(a.closure.has_value() == b.closure.has_value());
    if (a.closure) CHECK(b.closure->latest.day_number() - a.closure->latest.day_number() == by);
  }
}

TEST_CASE("the order of the rows does not matter") {
  Random random(62);
  for (int k = 0; k < 60; ++k) {
    const auto series = some_course(random);
    auto mixed = series;
    const auto shuffle = [&](auto& v) {
      for (std::size_t i = v.size(); i > 1; --i) std::swap(v[i - 1], v[random.index(static_cast<int>(i))]);
    };
    shuffle(mixed.looks);
    shuffle(mixed.water);
    shuffle(mixed.events);
    const auto a = follow(series), b = follow(mixed);
    CHECK(a.verdict == b.verdict);
    same(a.change_percent, b.change_percent);
    CHECK(a.days == b.days);
    for (std::size_t i = 0; i < a.from.size(); ++i) CHECK(series.looks[a.from[i][0]].area_mm2 == mixed.looks[b.from[i][0]].area_mm2);
  }
}

TEST_CASE("areas four times as large give the same verdict and change and twice the advance") {
  Random random(63);
  for (int k = 0; k < 60; ++k) {
    auto series = some_course(random);
    auto larger = series;
    for (auto& l : larger.looks) {
      l.area_mm2 *= 4;
      l.u_mm2 *= 4;
      l.perimeter_mm *= 2;
    }
    // Only the size that counts as closed has a unit.
    CourseOptions options;
    const auto a = follow(series, options);
    options.closed_mm2 *= 4;
    const auto b = follow(larger, options);
    CHECK(a.verdict == b.verdict);
    same(a.change_percent, b.change_percent);
    same(a.advance_mm_per_day, b.advance_mm_per_day, 2);
    same(a.rate_percent_per_day, b.rate_percent_per_day);
    CHECK(a.doubtful == b.doubtful);
  }
}

TEST_CASE("every estimate lies within its own interval and the curve starts at its baseline") {
  Random random(64);
  for (int k = 0; k < 200; ++k) {
    const auto course = follow(some_course(random));
    for (const auto* e : {&course.change_percent, &course.change_last_percent, &course.advance_mm_per_day, &course.rate_percent_per_day, &course.half_time_days}) {
      if (!*e) continue;
      CHECK((*e)->low95 <= (*e)->value);
      CHECK((*e)->value <= (*e)->high95);
    }
    CHECK_FALSE(course.reasons.empty());
    const auto relative = curve(course, Quantity::percent_of_baseline), advance = curve(course, Quantity::advance_mm);
    REQUIRE_FALSE(relative.empty());
    CHECK(relative.front().value.value == 100);
    CHECK(advance.front().value.value == 0);
    if (course.change_percent && course.baseline != course.last)
      for (const auto& point : relative)
        if (point.look == course.last) CHECK(point.value.value == Approx(100 + course.change_percent->value));
  }
}
