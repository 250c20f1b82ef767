#pragma once
#include "uroko/margin/margin.h"

namespace uroko::margin {

/// What is told when a loop seems to hold more than the one wound that was outlined: a place of its own inside the loop with the found wound's colours,
/// or a found margin whose wound-coloured inside falls into two.
std::optional<Warning> more_than_one(const cv::Mat& bgr, const ImageOutline& loop, const ImageOutline& found);

}  // namespace uroko::margin
