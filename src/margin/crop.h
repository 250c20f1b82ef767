#pragma once
#include <opencv2/core.hpp>

#include "uroko/geometry/polygon.h"

namespace uroko::margin {

/// A part of the photo, reduced; pixel centres at integers in both.
struct Crop {
  cv::Mat bgr;            ///< 8-bit, reduced
  cv::Rect box;           ///< photo pixels it covers
  double sx = 1, sy = 1;  ///< crop pixels per photo pixel
  double scale() const { return (sx + sy) / 2; }
  ImagePoint in_crop(const ImagePoint& p) const { return {(p.x - box.x + 0.5) * sx - 0.5, (p.y - box.y + 0.5) * sy - 0.5}; }
  ImagePoint in_photo(const ImagePoint& p) const { return {(p.x + 0.5) / sx - 0.5 + box.x, (p.y + 0.5) / sy - 0.5 + box.y}; }
  ImageOutline in_crop(const ImageOutline& o) const {
    return mapped<ImagePoint, ImagePoint>(o, [this](const ImagePoint& p) { return in_crop(p); });
  }
  ImageOutline in_photo(const ImageOutline& o) const {
    return mapped<ImagePoint, ImagePoint>(o, [this](const ImagePoint& p) { return in_photo(p); });
  }
};

/// The photo's pixels under `box` (clipped to the photo), at most `side` on the longer side. Area-averaged; small boxes are enlarged
/// up to `enlarge` times so that a small wound still spans enough pixels.
Crop make_crop(const cv::Mat& bgr, const cv::Rect& box, int side, double enlarge = 1);

/// The smallest box of whole pixels round all rings, widened by `margin` of its own size on every side.
cv::Rect box_of(const ImageOutline& outline, double margin);

}  // namespace uroko::margin
