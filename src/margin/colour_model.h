#pragma once
#include <opencv2/core.hpp>

namespace uroko::margin {

/// Two smoothed histograms over 8-bit CIELAB (32 cells an axis): how likely a colour is inside against outside.
class ColourModel {
 public:
  /// `lab`: CV_8UC3; weights CV_32F of the same size, >= 0.
  ColourModel(const cv::Mat& lab, const cv::Mat& inside_weight, const cv::Mat& outside_weight);
  /// P(inside | colour) for equal priors, CV_32F; 0.5 where the colour was seen in neither.
  cv::Mat posterior(const cv::Mat& lab) const;

 private:
  std::vector<float> inside_, outside_;
};

/// Log-odds of each pixel's colour being inside against outside, by a ColourModel of these weights, smoothed by a pixel and cut at +-`limit`. CV_32F.
cv::Mat colour_odds(const cv::Mat& lab, const cv::Mat& inside_weight, const cv::Mat& outside_weight, double limit);

/// 8-bit CIELAB of an 8-bit BGR picture (OpenCV's scaling).
cv::Mat lab_of(const cv::Mat& bgr);

}  // namespace uroko::margin
