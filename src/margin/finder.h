#pragma once
#include "margin/crop.h"
#include "margin/rings.h"
#include "uroko/margin/margin.h"

namespace uroko::margin {

/// What every finder needs of the photo; a refusal when it cannot be searched.
std::optional<Refusal> refused_photo(const cv::Mat& bgr);
std::optional<Refusal> refused_options(const FinderOptions& options);

/// A coarse outline (photo px) settled to a part of a pixel on a working copy of the photo, with doubts and warnings.
/// `reach_px`: how far the edge may still move; `seen_contrast`: the median separation of the two sides' colours in their pooled standard deviations.
Margin settled(const cv::Mat& bgr, const ImageOutline& coarse, double reach_px, From from, double* seen_contrast = nullptr);

/// The margin below a loop to about a pixel of a crop of at most `side` px, by the rays' net.
struct Search {
  ImageOutline outline;  ///< photo px; empty when nothing was found
  double scale = 1;      ///< crop pixels a photo pixel
  double clarity = 0;    ///< mean log-probability of its places against an even spread along the rays
};
/// A person's loop lies a quarter of the wound's radius outside, more or less by a third of that; no such expectation when `spread` is 0.
constexpr double kUsualSpread = 0.07;
Search search_in_loop(const cv::Mat& bgr, const ImageOutline& loop, int side, double spread);

ImageOutline circle_around(const ImagePoint& centre, double radius);

/// The rim of the photo's pixels.
ImageOutline photo_frame(const cv::Mat& bgr);

}  // namespace uroko::margin
