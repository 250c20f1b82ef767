#pragma once
#include "uroko/margin/margin.h"

namespace uroko::margin {

/// What a stroke that runs along the margin does to it, the whole of the wrong region it lies in being taken over or given back.
struct Moved {
  ImageOutline outline;
  std::vector<std::pair<ImagePoint, double>> doubts;  ///< of the new stretch's vertices, px
};

/// A person draws a stroke along the middle of what is wrong, nearly as long as that is: the edge belongs about as far beyond the stroke as the
/// present margin lies before it, and comes back to the margin a little past the stroke's ends. About that line the rays' net decides.
/// `wound`: the stroke must be inside; otherwise outside. Nothing when the stroke does not run along an outer ring (a tongue, a hole, an
/// island): those are left to the cut.
std::optional<Moved> moved_along(const cv::Mat& bgr, const ImageOutline& present, const Stroke& stroke, bool wound);

}  // namespace uroko::margin
