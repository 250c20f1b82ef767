#pragma once
#include <opencv2/core.hpp>

#include "uroko/geometry/polygon.h"

namespace uroko::margin {

/// The wound's pixels (255 on CV_8U) by one minimum cut of log-odds that say what is known of each pixel (CV_32F; -20 and 20 are certain), the colours learned
/// from them (histograms of both sides, two rounds), and the contrast between neighbours. `lab`: CV_8UC3.
cv::Mat coarse_from_prior(const cv::Mat& lab, const cv::Mat& prior);

/// The same about a ring that is right to `doubt_px`: inside it colour may still say skin.
cv::Mat cut_about_ring(const cv::Mat& lab, const Ring<ImagePoint>& ring, double doubt_px);

}  // namespace uroko::margin
