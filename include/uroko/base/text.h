#pragma once
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace uroko {

/// Reads a whole text as a finite decimal number, classic locale (no grouping, point as decimal sign).
/// Nothing for empty text, trailing characters, inf or nan.
std::optional<double> parse_number(std::string_view text);

/// The same for a person's typing: blanks around it and a single decimal comma are accepted ("12,5").
/// A number that could be grouped thousands, such as "1,234", is refused.
std::optional<double> parse_typed_number(std::string_view text);

/// All fields split at `separator`, blanks kept.
std::vector<std::string> split(std::string_view text, char separator);
std::string trim(std::string_view text);
std::string lower_ascii(std::string_view text);

/// The shortest text that reads back as the same number, classic locale.
std::string number_text(double value);
/// Fixed number of decimals, classic locale, never "-0".
std::string fixed_text(double value, int decimals);

}  // namespace uroko
