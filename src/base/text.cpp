#include "uroko/base/text.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>

namespace uroko {

std::optional<double> parse_number(std::string_view text) {
  if (!text.empty() && text.front() == '+') text.remove_prefix(1);
  double value = 0;
  const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (text.empty() || fault != std::errc{} || end != text.data() + text.size() || !std::isfinite(value))
    return std::nullopt;
  return value;
}

std::optional<double> parse_typed_number(std::string_view text) {
  std::string trimmed = trim(text);
  const auto comma = trimmed.find(',');
  if (comma != std::string::npos) {
    if (trimmed.find(',', comma + 1) != std::string::npos || trimmed.find('.') != std::string::npos) return std::nullopt;
    // "1,234" may be one thousand two hundred thirty-four; "0,234" can not.
    const auto start = trimmed.find_first_of("0123456789");
    const bool leading_zero = start != std::string::npos && trimmed[start] == '0';
    if (trimmed.size() - comma - 1 == 3 && comma - std::min(start, comma) <= 3 && comma > 0 && !leading_zero)
      return std::nullopt;
    trimmed[comma] = '.';
  }
  return parse_number(trimmed);
}

std::vector<std::string> split(std::string_view text, char separator) {
  std::vector<std::string> fields;
  for (;;) {
    const auto at = text.find(separator);
    fields.emplace_back(text.substr(0, at));
    if (at == std::string_view::npos) return fields;
    text.remove_prefix(at + 1);
  }
}

std::string trim(std::string_view text) {
  const auto blank = " \t\r\n";
  const auto first = text.find_first_not_of(blank);
  if (first == std::string_view::npos) return {};
  return std::string(text.substr(first, text.find_last_not_of(blank) - first + 1));
}

std::string lower_ascii(std::string_view text) {
  std::string out(text);
  std::transform(out.begin(), out.end(), out.begin(), [](char c) { return c >= 'A' && c <= 'Z' ? char(c + 32) : c; });
  return out;
}

std::string number_text(double value) { return fmt::format("{}", value); }

std::string fixed_text(double value, int decimals) {
  std::string text = fmt::format("{:.{}f}", value, decimals);
  if (text.size() > 1 && text.front() == '-' && text.find_first_not_of("-0.") == std::string::npos) text.erase(0, 1);
  return text;
}

}  // namespace uroko
