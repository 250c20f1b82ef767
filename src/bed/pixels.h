#pragma once
#include <opencv2/core.hpp>

#include "uroko/bed/bed.h"

namespace uroko::bed {

constexpr int kKinds = 4;  ///< granulation, slough, necrotic, pale: the first four of Tissue

struct PixelClasses {
  cv::Mat labels;     ///< CV_8U Tissue, 255 outside the mask
  cv::Mat posterior;  ///< CV_32FC4, by Tissue; even where glare hides the tissue
};
/// Every pixel of an (already reduced) picture on its own. `mask`: CV_8U, where to look.
PixelClasses classes_of(const cv::Mat& bgr, const cv::Mat& mask, const WhiteBalance& balance, const Thresholds& thresholds);

}  // namespace uroko::bed
