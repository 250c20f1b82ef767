#pragma once
#include <optional>
#include <string>
#include <vector>

#include "uroko/base/estimate.h"
#include "uroko/base/result.h"
#include "uroko/bed/bed.h"
#include "uroko/margin/margin.h"
#include "uroko/photo/photo.h"
#include "uroko/scale/plane_map.h"

namespace uroko::measure {

/// One source of the area's uncertainty (GUM: a standard uncertainty in the result's unit).
struct BudgetLine {
  std::string source;  ///< "margin", "scale", "plane", "print", "lens", "curvature", ...
  double u_mm2 = 0;
};

/// The fish's body as an elliptic cylinder. Axis: two pixels on the lateral midline, if known.
struct Body {
  double depth_mm = 0, width_mm = 0;
  std::optional<std::pair<ImagePoint, ImagePoint>> midline;
};

struct MeasureOptions {
  double plane_offset_u_mm = 1.0;  ///< >= 0: the reference may lie that much above or below the wound
  std::optional<Body> body;
};

/// The number the product stands for, with where it came from.
struct Measurement {
  Estimate area_mm2;
  Estimate perimeter_mm, length_mm, width_mm;
  std::vector<BudgetLine> budget;  ///< of area_mm2.u, largest first; root sum of squares = area_mm2.u
  double curvature_factor = 1;     ///< true surface area / planar area that was applied
  PlaneOutline outline_mm;         ///< on the reference's plane
  std::vector<Warning> warnings;
};

/// Refuses an invalid margin (with its fault and place) and a body that the wound wraps too far around.
Result<Measurement> measure(const scale::PlaneMap& map, const margin::Margin& margin, const MeasureOptions& options = {});

}  // namespace uroko::measure
