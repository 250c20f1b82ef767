#pragma once
#include <opencv2/core.hpp>

#include "uroko/geometry/polygon.h"

namespace uroko::margin {

/// 255 where the pixel's centre lies inside (even-odd over all rings), 0 elsewhere. Unbiased in area, unlike fillPoly, which adds the boundary's
/// pixels.
cv::Mat filled(const ImageOutline& outline, const cv::Size& size);

/// Where `level` (CV_32F) crosses `iso`: closed rings through interpolated positions (marching squares), everything outside the picture being lower.
/// Outer rings with their holes; rings smaller than `least_area` px2 are dropped.
ImageOutline outline_at(const cv::Mat& level, float iso, double least_area = 0);

/// The same ring cut into `n` equal lengths (n >= 3), from `phase` (0..1) of such a length past its first vertex.
Ring<ImagePoint> resampled(const Ring<ImagePoint>& ring, int n, double phase = 0);

double ring_length(const Ring<ImagePoint>& ring);

/// A polyline as a set of pixels: 255 within `radius` of it.
cv::Mat stroked(const std::vector<ImagePoint>& line, double radius, const cv::Size& size);

}  // namespace uroko::margin
