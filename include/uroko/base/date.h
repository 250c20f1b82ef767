#pragma once
#include <compare>
#include <optional>
#include <string>
#include <string_view>

namespace uroko {

/// A civil date and, if known, time of day and offset from UTC. Proleptic Gregorian calendar, ISO 8601 text.
struct DateTime {
  int year = 1970, month = 1, day = 1;
  bool has_time = false;
  int hour = 0, minute = 0, second = 0;
  std::optional<int> utc_offset_min;

  /// Reads "2026-03-02", "2026-03-02T10:14", "2026-03-02T10:14:00", each with optional "Z" or "+09:00" after a
  /// time; a blank may stand for the T. Nothing when the text is anything else or the date does not exist.
  static std::optional<DateTime> parse(std::string_view text);
  /// Reads EXIF's "2026:03:02 10:14:00".
  static std::optional<DateTime> parse_exif(std::string_view text);
  /// ISO 8601, as precise as what is known.
  std::string iso() const;
  std::string iso_date() const;
  /// Days since 1970-01-01 by the civil calendar; the fraction is the local time of day (0 when unknown).
  double days() const;
  /// Whole civil days since 1970-01-01.
  long day_number() const;
  static DateTime from_day_number(long days);
  static DateTime now();

  bool operator==(const DateTime&) const = default;
};

/// Orders by local civil date and time.
bool before(const DateTime& a, const DateTime& b);

}  // namespace uroko
