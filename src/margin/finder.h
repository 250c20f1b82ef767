#pragma once
#include "margin/crop.h"
#include "uroko/margin/margin.h"

namespace uroko::margin {

/// What every finder needs of the photo; a refusal when it cannot be searched.
std::optional<Refusal> refused_photo(const cv::Mat& bgr);
std::optional<Refusal> refused_options(const FinderOptions& options);

/// A coarse outline (photo px) settled to a part of a pixel on a working copy of the photo, with doubts and warnings.
/// `reach_px`: how far the edge may still move; `seen_contrast`: the median separation of the two sides' colours in their pooled standard deviations.
Margin settled(const cv::Mat& bgr, const ImageOutline& coarse, double reach_px, From from, double* seen_contrast = nullptr);

ImageOutline circle_around(const ImagePoint& centre, double radius);

/// Radius of the circle of the same area, px.
double radius_of(const ImageOutline& outline);

}  // namespace uroko::margin
