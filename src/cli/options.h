#pragma once
#include <string>
#include <vector>

#include "uroko/geometry/polygon.h"

namespace uroko::cli {

/// "1,2.5,3" as exactly `count` numbers. Throws Error(Fault::usage) naming the option.
std::vector<double> numbers(const std::string& option, const std::string& text, std::size_t count);

/// An outline as well-known text, or from a file when it begins with @. Throws Error(Fault::usage), or Fault::input for the file.
ImageOutline outline_option(const std::string& option, const std::string& text);

/// A LINESTRING as well-known text, or from a file when it begins with @.
std::vector<std::vector<ImagePoint>> lines_option(const std::string& option, const std::string& text);

}  // namespace uroko::cli
