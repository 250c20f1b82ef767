#pragma once
#include <string>
#include <vector>

#include "uroko/base/date.h"
#include "uroko/scenes/scene.h"

namespace uroko::scenes {

/// The sample case: an invented koi with one ulcer on its left flank, eight visits in a month, a debridement on the second and a cold
/// spell between the third and the sixth. Nothing of it is a real animal, person or course of healing.
struct SampleVisit {
  DateTime taken;
  double water_c = 0;
  Scene scene;
  Noise noise;
  std::string file_name;
};
struct SampleEvent {
  DateTime date;
  std::string event, note;  ///< event empty: a water temperature only
  double water_c = 0;
};
struct SampleCase {
  std::string fish, variety, wound, site, camera_make, camera_model;
  double length_mm = 0;
  double focal_mm = 0, focal35_mm = 0;
  std::vector<SampleVisit> visits;
  std::vector<SampleEvent> log;
};
SampleCase sample_case();

/// A loop as a hand draws it outside a margin, about a quarter of the wound's radius away, a dozen points.
ImageOutline rough_loop(const ImageOutline& margin);

}  // namespace uroko::scenes
