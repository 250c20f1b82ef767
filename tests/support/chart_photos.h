#pragma once
#include <array>
#include <filesystem>
#include <vector>

#include "uroko/scale/plane_map.h"

namespace uroko::testing {

/// A photo of shared/data/aruco_colorchecker (SOURCE.md): four DICT_4X4_50 markers whose inner corners frame 70 x 115 mm (A4 set) or
/// 210 x 300 mm (A3 set, folded paper); the chart inside is 63.5 x 109 = 6921.5 mm2 or 203 x 292 = 59276 mm2 by its maker and 3 mm thick.
struct ChartPhoto {
  std::filesystem::path file;
  bool mini = false;                ///< of the A4 set
  std::array<ImagePoint, 4> frame;  ///< the markers' inner corners, in order
  scale::PlaneMap map;              ///< by the rectangle reference on the frame
  ImageOutline outline;             ///< the chart's edges as found in the photo
  double area_mm2 = 0;              ///< the maker's
};
/// Those whose four markers and four edges are found; empty where the folder is absent.
std::vector<ChartPhoto> chart_photos();

}  // namespace uroko::testing
