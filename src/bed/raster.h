#pragma once
#include <opencv2/core.hpp>

#include "uroko/geometry/polygon.h"

namespace uroko::bed {

/// An outline as pixels of a reduced picture of its box.
struct Raster {
  cv::Rect box;      ///< photo pixels
  double scale = 1;  ///< mask pixels per photo pixel
  cv::Mat mask;      ///< CV_8U 255 where the pixel's centre lies inside; empty when the box lies outside the photo
  ImagePoint photo_point(double x, double y) const { return {box.x + (x + 0.5) / scale - 0.5, box.y + (y + 0.5) / scale - 0.5}; }
};
Raster rasterised(const ImageOutline& outline, const cv::Size& photo, int longest_side);

}  // namespace uroko::bed
