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

std::optional<DateTime> needed_date(const std::string& text, FormFault& fault, const char* field) {
  auto date = typed_date(text);
  if (!date) fault.say("The date must be like 2026-03-19 or 2026-03-19T10:30.", field);
  return date;
}

void need_names(const std::string& fish, const char* fish_field, const std::string& wound, const char* wound_field, FormFault& fault) {
  if (trim(fish).empty()) fault.say("Which fish is it? A name or a tag is enough.", fish_field);
  if (trim(wound).empty()) fault.say("Which wound is it? The body site is a good name.", wound_field);
}

std::string sentence(std::string words) {
  if (words.empty()) return words;
  words[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(words[0])));
  if (words.back() != '.') words += '.';
  return words;
}

}  // namespace uroko::app
