#include "cli/options.h"

#include <stdexcept>

#include "uroko/base/error.h"
#include "uroko/base/file.h"
#include "uroko/base/text.h"

namespace uroko::cli {

namespace {

[[noreturn]] void misused(const std::string& option, const std::string& happened, const std::string& advice) {
  throw Error(Fault::usage, "usage", {}, option + ": " + happened, advice);
}

std::string text_or_file(const std::string& text) {
  constexpr std::size_t kLargest = std::size_t{16} << 20;
  return !text.empty() && text.front() == '@' ? read_file(text.substr(1), kLargest) : text;
}

}  // namespace

std::vector<double> numbers(const std::string& option, const std::string& text, std::size_t count) {
  std::vector<double> values;
  for (const auto& field : split(text, ',')) {
    const auto value = parse_number(trim(field));
    if (!value) misused(option, "'" + field + "' is not a number", "give " + std::to_string(count) + " numbers joined by commas");
    values.push_back(*value);
  }
  if (values.size() != count)
    misused(option, std::to_string(values.size()) + " numbers were given", "give " + std::to_string(count) + " numbers joined by commas");
  return values;
}

ImageOutline outline_option(const std::string& option, const std::string& text) {
  try {
    return outline_from_wkt<ImagePoint>(text_or_file(text));
  } catch (const std::invalid_argument& e) {
    misused(option, e.what(), "give a POLYGON or MULTIPOLYGON in photo pixels, or @FILE");
  }
}

std::vector<std::vector<ImagePoint>> lines_option(const std::string& option, const std::string& text) {
  try {
    return lines_from_wkt(text_or_file(text));
  } catch (const std::invalid_argument& e) {
    misused(option, e.what(), "give a LINESTRING in photo pixels, or @FILE");
  }
}

}  // namespace uroko::cli
