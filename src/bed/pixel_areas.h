#pragma once
#include <vector>

#include "bed/raster.h"
#include "uroko/scale/plane_map.h"

namespace uroko::bed {

/// mm2 of a mask pixel: exact on a coarse lattice, bilinear between.
class PixelAreas {
 public:
  PixelAreas(const scale::PlaneMap& map, const Raster& raster);
  double operator()(int x, int y) const;

 private:
  int columns_ = 2, rows_ = 2;
  double step_x_ = 1, step_y_ = 1;
  std::vector<double> lattice_;
};

}  // namespace uroko::bed
