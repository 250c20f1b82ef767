#pragma once
#include <opencv2/core.hpp>

namespace uroko::margin {

/// Least sum of |dP| + `per_length` * length over paths from the seeds (nonzero in `seeds`), by three forward and backward raster passes
/// over eight neighbours (an approximation from above that converges where paths turn little). CV_32F.
cv::Mat geodesic_distance(const cv::Mat& p, const cv::Mat& seeds, float per_length = 0.002f);

}  // namespace uroko::margin
