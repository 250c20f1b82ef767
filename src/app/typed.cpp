#include "app/typed.h"

#include "uroko/base/text.h"

namespace uroko::app {

std::optional<double> optional_number(const std::string& text, const char* what, double least, double most, std::string& fault) {
  if (trim(text).empty()) return std::nullopt;
  const auto v = parse_typed_number(text);
  if (!v || *v < least || *v > most) {
    fault = std::string(what) + " must be a number from " + number_text(least) + " to " + number_text(most) + ".";
    return std::nullopt;
  }
  return v;
}

}  // namespace uroko::app
