#pragma once
#include <algorithm>
#include <vector>

namespace uroko {

/// The middle value, of an even number the upper of the two in the middle; 0 of none.
template <class T>
double median(std::vector<T> values) {
  if (values.empty()) return 0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return static_cast<double>(*middle);
}

}  // namespace uroko
