#include "bed/pixel_areas.h"

#include <algorithm>

namespace uroko::bed {

PixelAreas::PixelAreas(const scale::PlaneMap& map, const Raster& raster) {
  columns_ = std::max(2, raster.mask.cols / 24 + 1);
  rows_ = std::max(2, raster.mask.rows / 24 + 1);
  step_x_ = std::max(1, raster.mask.cols - 1) / double(columns_ - 1);
  step_y_ = std::max(1, raster.mask.rows - 1) / double(rows_ - 1);
  for (int j = 0; j < rows_; ++j)
    for (int i = 0; i < columns_; ++i) {
      const double side = map.mm_per_px(raster.photo_point(i * step_x_, j * step_y_)) / raster.scale;
      lattice_.push_back(side * side);
    }
}

double PixelAreas::operator()(int x, int y) const {
  const double u = x / step_x_, v = y / step_y_;
  const int i = std::clamp(static_cast<int>(u), 0, columns_ - 2), j = std::clamp(static_cast<int>(v), 0, rows_ - 2);
  const double a = u - i, b = v - j;
  const auto at = [&](int column, int row) { return lattice_[static_cast<std::size_t>(row * columns_ + column)]; };
  return (1 - b) * ((1 - a) * at(i, j) + a * at(i + 1, j)) + b * ((1 - a) * at(i, j + 1) + a * at(i + 1, j + 1));
}

}  // namespace uroko::bed
