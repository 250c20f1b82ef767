#pragma once
#include <opencv2/core.hpp>

namespace uroko::margin {

/// The wound's pixels on a reduced crop, to about a pixel.
/// `lab`: CV_8UC3 crop; `loop`: CV_8U nonzero inside the rough loop. Returns CV_8U 255 inside, empty when nothing was found.
cv::Mat coarse_in_loop(const cv::Mat& bgr, const cv::Mat& lab, const cv::Mat& loop, std::uint64_t seed);

/// The largest connected part, its holes filled unless they are to be kept.
cv::Mat largest_part(const cv::Mat& mask, bool keep_holes);

}  // namespace uroko::margin
