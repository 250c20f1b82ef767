#pragma once
#include <memory>
#include <opencv2/core.hpp>
#include <vector>

#include "uroko/base/token.h"

namespace uroko::app {

/// A photo at halved sizes, for the screen. Level 0 is the largest there is; with a preview only, its scale is below 1.
struct Pyramid {
  struct Level {
    cv::Mat bgr;
    double scale = 1;  ///< its pixels per photo pixel
  };
  std::vector<Level> levels;  ///< decreasing
  int photo_width = 0, photo_height = 0;

  /// The smallest level that is not magnified at that zoom.
  int level_for(double zoom) const;
};

constexpr int kTile = 512;  ///< side of a tile without its border, px

/// One tile of a level, with a border of one pixel so that neighbours join without a seam.
struct TilePlace {
  int level = 0, column = 0, row = 0;
  auto operator<=>(const TilePlace&) const = default;
};
cv::Rect tile_box(const Pyramid& pyramid, const TilePlace& place);
/// The tile's pixels, CV_8UC4 RGBA, border included and replicated at the photo's edge.
cv::Mat tile_pixels(const Pyramid& pyramid, const TilePlace& place);

/// Halves until the longer side is below 512 px (INTER_AREA). Returns early with what there is when cancelled.
std::shared_ptr<const Pyramid> build_pyramid(const cv::Mat& bgr, double scale, int photo_width, int photo_height, const Token& token);

}  // namespace uroko::app
