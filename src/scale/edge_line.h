#pragma once
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "uroko/geometry/points.h"
#include "uroko/scale/camera.h"

namespace uroko::scale {

/// Bilinear grey value; the nearest border pixel outside.
double grey_at(const cv::Mat& grey, double x, double y);

/// One straight, sharp edge near the segment a-b, of one polarity along its whole length.
struct EdgeLine {
  double nx = 0, ny = 0, c = 0;  ///< n . p = c, |n| = 1, in undistorted pixels
  double rms_px = 0;             ///< of the edge points that fit
  double share = 0;              ///< of the sampled places that fit
  double contrast = 0;           ///< grey levels across it
  double u_offset_px = 0;        ///< standard uncertainty of c
};
/// Looks +-reach_px across the middle 70 % of the segment. Nothing without an edge that fits at most places.
/// `planes`: one (grey: the side is brighter or darker all along it) or the colours (whichever tells most at each place, brighter or darker: a card on
/// patterned skin).
std::optional<EdgeLine> find_edge_line(const std::vector<cv::Mat>& planes, const Camera& camera, const ImagePoint& a, const ImagePoint& b, double reach_px);

std::optional<ImagePoint> meeting(const EdgeLine& a, const EdgeLine& b);

}  // namespace uroko::scale
