#pragma once
// An invented course for drawings: eight looks, a debridement, a cold spell.
#include "uroko/healing/series.h"

namespace uroko::testing {

inline healing::Series example_series() {
  using healing::CareEvent;
  const auto d = [](const char* t) { return *DateTime::parse(t); };
  healing::Series s;
  const double area[] = {412, 398, 441, 405, 398, 371, 322, 281}, u[] = {7, 8, 7, 6, 9, 6, 5, 5};
  const char* when[] = {"2026-03-02T10:14", "2026-03-05", "2026-03-08T09:00", "2026-03-12", "2026-03-17", "2026-03-22", "2026-03-27", "2026-04-01"};
  const double water[] = {18.5, 18.2, 17.0, 12.1, 11.4, 15.0, 18.0, 19.2};
  for (int i = 0; i < 8; ++i) {
    s.looks.push_back({d(when[i]), area[i], u[i], 74 + area[i] / 50, std::array<double, 6>{0.42 + 0.03 * i, 0.30 - 0.03 * i, 0.03, 0.1, 0.12, 0.03}});
    s.water.push_back({d(when[i]), water[i]});
  }
  s.events = {{d("2026-03-02"), "cleaning", ""},    {d("2026-03-02"), "swab", ""},         {d("2026-03-04"), "injection", ""},
              {d("2026-03-07"), "debridement", ""}, {d("2026-03-07"), "topical", ""},      {d("2026-03-07"), "sealing", ""},
              {d("2026-03-08"), "cleaning", ""},    {d("2026-03-12"), "water change", ""}, {d("2026-03-13"), "salt", ""},
              {d("2026-03-22"), "cleaning", ""},    {d("2026-04-01"), "topical", ""}};
  return s;
}

/// As `healing::follow` would fill it, with round values of our own.
inline healing::Course example_course(const healing::Series& s) {
  healing::Course c;
  c.looks = s.looks;
  double sum = 0;
  for (std::size_t i = 0; i < s.looks.size(); ++i) {
    c.days.push_back(s.looks[i].date.days() - s.looks[0].date.days());
    if (i) sum += (c.days[i] - c.days[i - 1]) * (s.water[i].water_c + s.water[i - 1].water_c) / 2;
    c.degree_days.push_back(sum);
    c.segment.push_back(i < 2 ? 0 : 1);
  }
  c.baseline = s.looks.size() > 2 ? 2 : 0;
  c.span_days = c.days.back() - c.days[static_cast<std::size_t>(c.baseline)];
  c.change_percent = Estimate{-36.3, 1.5, -39.2, -33.4};
  c.change_last_percent = Estimate{-12.7, 2.0, -16.6, -8.8};
  c.advance_mm_per_day = Estimate{0.083, 0.006, 0.071, 0.095};
  c.half_time_days = Estimate{34, 3, 29, 41};
  c.verdict = healing::Verdict::closing;
  c.reasons = {"The area fell by 36.3 % (33.4 to 39.2) since the baseline of 8 Mar; the least change that can be told is 8 %.",
               "The margin moved inward by 0.083 mm a day (0.071 to 0.095)."};
  c.detectable_change_percent = 8;
  c.closure = healing::ClosureRange{*DateTime::parse("2026-04-20"), *DateTime::parse("2026-05-06")};
  return c;
}

}  // namespace uroko::testing
