#pragma once
#include <algorithm>
#include <cstdint>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "uroko/base/estimate.h"

namespace uroko {

/// A whole number out of JSON that anyone may have written, brought into [low, high], where 0 <= high < 2^63. Throws nlohmann::json::type_error when it is
/// no number.
/// The library's own get<int>() casts 1e25 as it stands, which C++ leaves undefined ([conv.fpint]).
template <class I>
I whole_number(const nlohmann::json& value, I low, I high) {
  if (value.is_number_unsigned()) {
    const auto n = value.get<std::uint64_t>();
    return n >= static_cast<std::uint64_t>(high) ? high : std::max(static_cast<I>(n), low);
  }
  if (value.is_number_integer()) {
    const auto n = value.get<std::int64_t>();
    return n <= static_cast<std::int64_t>(low) ? low : n >= static_cast<std::int64_t>(high) ? high : static_cast<I>(n);
  }
  const auto d = value.get<double>();
  // Compared as double first: a bound near 2^63 rounds up to one that no longer fits.
  if (!(d > static_cast<double>(low))) return low;
  if (d >= static_cast<double>(high)) return high;
  return static_cast<I>(d);
}

/// Warnings as [{"code", "text"}], and back. The way back throws nlohmann::json::exception for anything else.
inline nlohmann::json warnings_json(const std::vector<Warning>& warnings) {
  auto out = nlohmann::json::array();
  for (const auto& w : warnings) out.push_back({{"code", w.code}, {"text", w.text}});
  return out;
}
inline std::vector<Warning> warnings_from(const nlohmann::json& json) {
  std::vector<Warning> out;
  for (const auto& w : json) out.push_back({w.at("code").get<std::string>(), w.at("text").get<std::string>()});
  return out;
}

}  // namespace uroko
