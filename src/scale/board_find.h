#pragma once
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "uroko/geometry/points.h"
#include "uroko/scale/camera.h"
#include "uroko/scale/card.h"

namespace uroko::scale {

/// What was found of a board in a photo.
struct FoundBoard {
  std::vector<ImagePoint> saddles;  ///< photo pixels, as the lens shows them
  std::vector<PlanePoint> saddles_mm;
  std::vector<int> indices;         ///< which inner corner of the board each is
  std::vector<double> u_px;         ///< of each, from its own fit
  std::vector<ImagePoint> marker_corners;  ///< of all agreeing markers, four each, to about a pixel of the picture they were found in
  std::vector<PlanePoint> marker_corners_mm;
  double marker_side_px = 0;        ///< mean, photo pixels
  double px_per_mm = 0;
  int markers = 0;
  int apart = 0;                    ///< markers of the board that were seen but lie elsewhere than the others say
};

/// Markers on a reduced copy, then every saddle point at full size. Nothing when fewer than two markers agree.
/// `mirrored`: whether the first copy shows at least four of the board's markers as in a mirror.
std::optional<FoundBoard> find_board(const cv::Mat& photo, const Board& board, const Camera& camera, bool* mirrored = nullptr);

}  // namespace uroko::scale
