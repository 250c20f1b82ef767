#pragma once
#include <opencv2/core.hpp>

#include "uroko/bed/bed.h"

namespace uroko::bed {

constexpr int kKinds = 4;  ///< granulation, slough, necrotic, pale: the first four of Tissue

struct PixelClasses {
  cv::Mat labels;     ///< CV_8U Tissue, 255 outside the mask
  cv::Mat posterior;  ///< CV_32FC4, by Tissue; even where glare hides the tissue
};
/// Every pixel of an (already reduced) picture on its own. `mask`: CV_8U, where to look. `px_per_mm` 0: not known.
PixelClasses classes_of(const cv::Mat& bgr, const cv::Mat& mask, const WhiteBalance& balance, const Thresholds& thresholds, double px_per_mm);

/// Width in px, odd, of the widest glint that is taken off the colours. Precondition: `glint_mm` above 0.
int glint_px(const Thresholds& thresholds, double px_per_mm);
/// CV_32FC3 L*, a*, b* of the calmed and corrected picture, less the lamp's light that a wet film throws back. `seen`: CV_8U, where tissue is seen.
cv::Mat tissue_lab(const cv::Mat& bgr, const cv::Mat& seen, const WhiteBalance& balance, const Thresholds& thresholds, double px_per_mm);

}  // namespace uroko::bed
