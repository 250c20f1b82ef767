#pragma once
#include <vector>

namespace uroko::app {

/// A stop of the tour in the sample case: what it points at, by widget name, and two lines about it.
struct TourStop {
  const char* widget;  ///< where that is not on the screen the words stand in the middle
  const char* title;
  const char* words;
};
const std::vector<TourStop>& tour_stops();

}  // namespace uroko::app
