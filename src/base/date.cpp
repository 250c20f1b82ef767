#include "uroko/base/date.h"

#include <chrono>
#include <cmath>
#include <cstdio>
#include <ctime>

namespace uroko {

namespace {

namespace chr = std::chrono;

bool digits(std::string_view& rest, int count, int& out) {
  if (rest.size() < static_cast<std::size_t>(count)) return false;
  out = 0;
  for (int i = 0; i < count; ++i) {
    if (rest[i] < '0' || rest[i] > '9') return false;
    out = out * 10 + (rest[i] - '0');
  }
  rest.remove_prefix(count);
  return true;
}

bool symbol(std::string_view& rest, char c) {
  if (rest.empty() || rest.front() != c) return false;
  rest.remove_prefix(1);
  return true;
}

bool exists(const DateTime& t) {
  const chr::year_month_day ymd{chr::year{t.year}, chr::month(t.month), chr::day(t.day)};
  return t.year >= 1 && ymd.ok() && t.hour <= 23 && t.minute <= 59 && t.second <= 60;
}

}  // namespace

std::optional<DateTime> DateTime::parse(std::string_view text) {
  DateTime t;
  auto rest = text;
  if (!digits(rest, 4, t.year) || !symbol(rest, '-') || !digits(rest, 2, t.month) || !symbol(rest, '-') ||
      !digits(rest, 2, t.day))
    return std::nullopt;
  if (!rest.empty()) {
    if (!symbol(rest, 'T') && !symbol(rest, ' ')) return std::nullopt;
    if (!digits(rest, 2, t.hour) || !symbol(rest, ':') || !digits(rest, 2, t.minute)) return std::nullopt;
    if (symbol(rest, ':')) {
      if (!digits(rest, 2, t.second)) return std::nullopt;
      if (symbol(rest, '.')) {
        int dummy = 0;
        if (!digits(rest, 1, dummy)) return std::nullopt;
        while (digits(rest, 1, dummy)) {
        }
      }
    }
    t.has_time = true;
    if (symbol(rest, 'Z')) {
      t.utc_offset_min = 0;
    } else if (!rest.empty() && (rest.front() == '+' || rest.front() == '-')) {
      const int sign = rest.front() == '-' ? -1 : 1;
      rest.remove_prefix(1);
      int h = 0, m = 0;
      if (!digits(rest, 2, h)) return std::nullopt;
      symbol(rest, ':');
      if (!digits(rest, 2, m) || h > 14 || m > 59) return std::nullopt;
      t.utc_offset_min = sign * (h * 60 + m);
    }
    if (!rest.empty()) return std::nullopt;
  }
  if (!exists(t)) return std::nullopt;
  return t;
}

std::optional<DateTime> DateTime::parse_exif(std::string_view text) {
  if (text.size() < 19) return std::nullopt;
  std::string iso(text.substr(0, 19));
  if (iso[4] != ':' || iso[7] != ':' || iso[10] != ' ') return std::nullopt;
  iso[4] = iso[7] = '-';
  iso[10] = 'T';
  return parse(iso);
}

std::string DateTime::iso_date() const {
  char text[40];
  std::snprintf(text, sizeof text, "%04d-%02d-%02d", year, month, day);
  return text;
}

std::string DateTime::iso() const {
  if (!has_time) return iso_date();
  char text[48];
  std::snprintf(text, sizeof text, "T%02d:%02d:%02d", hour, minute, second);
  std::string out = iso_date() + text;
  if (utc_offset_min) {
    const int offset = *utc_offset_min, size = offset < 0 ? -offset : offset;
    std::snprintf(text, sizeof text, "%c%02d:%02d", offset < 0 ? '-' : '+', size / 60, size % 60);
    out += text;
  }
  return out;
}

long DateTime::day_number() const {
  const chr::year_month_day ymd{chr::year{year}, chr::month(month), chr::day(day)};
  return chr::sys_days(ymd).time_since_epoch().count();
}

double DateTime::days() const {
  return static_cast<double>(day_number()) + (hour * 3600 + minute * 60 + second) / 86400.0;
}

DateTime DateTime::from_day_number(long days) {
  const chr::year_month_day ymd{chr::sys_days{chr::days{days}}};
  DateTime t;
  t.year = static_cast<int>(ymd.year());
  t.month = static_cast<int>(static_cast<unsigned>(ymd.month()));
  t.day = static_cast<int>(static_cast<unsigned>(ymd.day()));
  return t;
}

DateTime DateTime::now() {
  const std::time_t seconds = std::time(nullptr);
  std::tm tm{};
  localtime_r(&seconds, &tm);
  DateTime t;
  t.year = tm.tm_year + 1900;
  t.month = tm.tm_mon + 1;
  t.day = tm.tm_mday;
  t.has_time = true;
  t.hour = tm.tm_hour;
  t.minute = tm.tm_min;
  t.second = tm.tm_sec;
  t.utc_offset_min = static_cast<int>(tm.tm_gmtoff / 60);
  return t;
}

bool before(const DateTime& a, const DateTime& b) { return a.days() < b.days(); }

}  // namespace uroko
