#include "uroko/app/pyramid.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>

namespace uroko::app {

int Pyramid::level_for(double zoom) const {
  int best = 0;
  for (int i = 1; i < static_cast<int>(levels.size()); ++i)
    if (levels[static_cast<std::size_t>(i)].scale >= zoom * 0.999) best = i;
  return best;
}

cv::Rect tile_box(const Pyramid& pyramid, const TilePlace& place) {
  const auto& level = pyramid.levels.at(static_cast<std::size_t>(place.level)).bgr;
  return cv::Rect(place.column * kTile, place.row * kTile, kTile, kTile) & cv::Rect(0, 0, level.cols, level.rows);
}

cv::Mat tile_pixels(const Pyramid& pyramid, const TilePlace& place) {
  const auto& level = pyramid.levels.at(static_cast<std::size_t>(place.level)).bgr;
  const cv::Rect box = tile_box(pyramid, place);
  const cv::Rect wide = cv::Rect(box.x - 1, box.y - 1, box.width + 2, box.height + 2) & cv::Rect(0, 0, level.cols, level.rows);
  cv::Mat rgba;
  cv::cvtColor(level(wide), rgba, cv::COLOR_BGR2RGBA);
  const int left = 1 - (box.x - wide.x), top = 1 - (box.y - wide.y);
  const int right = box.width + 2 - wide.width - left, bottom = box.height + 2 - wide.height - top;
  if (left || top || right || bottom) cv::copyMakeBorder(rgba, rgba, top, bottom, left, right, cv::BORDER_REPLICATE);
  return rgba;
}

std::shared_ptr<const Pyramid> build_pyramid(const cv::Mat& bgr, double scale, int photo_width, int photo_height, const Token& token) {
  auto pyramid = std::make_shared<Pyramid>();
  pyramid->photo_width = photo_width;
  pyramid->photo_height = photo_height;
  pyramid->levels.push_back({bgr, scale});
  while (!token.cancelled()) {
    const auto& last = pyramid->levels.back();
    if (std::max(last.bgr.cols, last.bgr.rows) <= kTile) break;
    cv::Mat half;
    cv::resize(last.bgr, half, {(last.bgr.cols + 1) / 2, (last.bgr.rows + 1) / 2}, 0, 0, cv::INTER_AREA);
    pyramid->levels.push_back({half, last.scale / 2});
  }
  return pyramid;
}

}  // namespace uroko::app
