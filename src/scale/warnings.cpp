#include "scale/warnings.h"

#include "uroko/base/text.h"

namespace uroko::scale {

void warn_of_tilt(PlaneMap& map) {
  if (!map.pose || map.tilt_deg <= 30) return;
  map.warnings.push_back(
      warning("tilt", "the reference is tilted by " + fixed_text(map.tilt_deg, 0) + " degrees; hold the camera square to the wound"));
}

}  // namespace uroko::scale
