#include "app/typed.h"

#include <cctype>
#include <cstdio>

#include "uroko/base/text.h"

namespace uroko::app {

std::optional<double> optional_number(const std::string& text, const char* what, double least, double most, FormFault& fault, const char* field) {
  if (trim(text).empty()) return std::nullopt;
  const auto v = parse_typed_number(text);
  if (!v || *v < least || *v > most) {
    fault.say(std::string(what) + " must be a number from " + number_text(least) + " to " + number_text(most) + ".", field);
    return std::nullopt;
  }
  return v;
}

std::optional<DateTime> typed_date(const std::string& text) {
  const auto typed = trim(text);
  int day = 0, month = 0, year = 0, end = 0;
  if (std::sscanf(typed.c_str(), "%2d.%2d.%4d%n", &day, &month, &year, &end) == 3 && end == static_cast<int>(typed.size()) && day > 0 && month > 0 && year > 999) {
    char iso[40];
    std::snprintf(iso, sizeof iso, "%04d-%02d-%02d", year, month, day);
    return DateTime::parse(iso);
  }
  return DateTime::parse(typed);
}

std::string sentence(std::string words) {
  if (words.empty()) return words;
  words[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(words[0])));
  if (words.back() != '.') words += '.';
  return words;
}

}  // namespace uroko::app
