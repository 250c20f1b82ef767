#pragma once
#include <array>
#include <opencv2/core.hpp>

#include "uroko/bed/bed.h"

namespace uroko::bed {

/// Linear light of 8-bit counts after the correction, white = 1, not clipped.
class Corrected {
 public:
  explicit Corrected(const WhiteBalance& balance);
  float linear(int channel, uchar count) const { return linear_[static_cast<std::size_t>(channel)][count]; }

 private:
  std::array<std::array<float, 256>, 3> linear_;
};

/// CV_32FC3 linear light (B, G, R; white = 1) of the corrected picture, not clipped.
cv::Mat linear_image(const cv::Mat& bgr, const WhiteBalance& balance);
/// CV_32FC3 L*, a*, b* of CV_32FC3 linear light.
cv::Mat lab_of_linear(const cv::Mat& linear);
/// CV_32FC3 L*, a*, b* of the corrected picture.
cv::Mat lab_image(const cv::Mat& bgr, const WhiteBalance& balance);

/// CV_8U 255 where the picture shows a highlight of the lamp rather than the tissue. `mask`: where to look.
cv::Mat find_glare(const cv::Mat& bgr, const cv::Mat& mask, const GlareOptions& options);

}  // namespace uroko::bed
