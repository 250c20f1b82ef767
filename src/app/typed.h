#pragma once
#include <optional>
#include <string>

namespace uroko::app {

/// Empty text: nothing. Not a number or out of range: nothing, and `fault` says so.
std::optional<double> optional_number(const std::string& text, const char* what, double least, double most, std::string& fault);

}  // namespace uroko::app
