// The cheapest path along edges from an anchor (Dijkstra 1959 on a crop, as in Mortensen and Barrett's live wire, 1995).
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <queue>

#include "margin/colour_model.h"
#include "margin/crop.h"
#include "uroko/margin/edits.h"

namespace uroko::margin {

struct LiveEdge::Solution {
  Crop crop;
  ImagePoint anchor;
  cv::Mat from;  ///< CV_8S, direction to the next pixel towards the anchor, -1 at the anchor
};

namespace {
constexpr int kDx[8] = {1, 1, 0, -1, -1, -1, 0, 1}, kDy[8] = {0, 1, 1, 1, 0, -1, -1, -1};

/// Gradient magnitude of smoothed CIELAB, 0..1 by its 98th percentile.
cv::Mat edge_strength(const cv::Mat& bgr) {
  cv::Mat lab = lab_of(bgr), wide, total = cv::Mat::zeros(bgr.size(), CV_32F);
  lab.convertTo(wide, CV_32FC3);
  cv::GaussianBlur(wide, wide, {}, 1.2);
  std::vector<cv::Mat> channels;
  cv::split(wide, channels);
  for (const auto& c : channels) {
    cv::Mat gx, gy;
    cv::Sobel(c, gx, CV_32F, 1, 0);
    cv::Sobel(c, gy, CV_32F, 0, 1);
    total += gx.mul(gx) + gy.mul(gy);
  }
  cv::sqrt(total, total);
  std::vector<float> values(total.begin<float>(), total.end<float>());
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(0.98 * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), at, values.end());
  return cv::min(total / std::max(*at, 1.f), 1.0);
}
}  // namespace

LiveEdge::LiveEdge(const cv::Mat& bgr, const ImagePoint& anchor, double reach_px) : solution_(std::make_unique<Solution>()) {
  auto& s = *solution_;
  s.anchor = anchor;
  const int r = static_cast<int>(std::clamp(reach_px, 8.0, 4000.0));
  if (bgr.empty() || bgr.type() != CV_8UC3 || !std::isfinite(anchor.x) || !std::isfinite(anchor.y)) return;
  const int x = static_cast<int>(std::clamp(std::lround(anchor.x), 0L, bgr.cols - 1L)),
            y = static_cast<int>(std::clamp(std::lround(anchor.y), 0L, bgr.rows - 1L));
  s.crop = make_crop(bgr, {x - r, y - r, 2 * r + 1, 2 * r + 1}, 256);
  const cv::Mat strength = edge_strength(s.crop.bgr);
  const int w = strength.cols, h = strength.rows;
  s.from = cv::Mat(h, w, CV_8S, cv::Scalar(-1));
  cv::Mat cost(h, w, CV_32F, cv::Scalar(1e9));
  const auto p = s.crop.in_crop(anchor);
  const int ax = static_cast<int>(std::clamp(std::lround(p.x), 0L, w - 1L)), ay = static_cast<int>(std::clamp(std::lround(p.y), 0L, h - 1L));
  using Item = std::pair<float, int>;
  std::priority_queue<Item, std::vector<Item>, std::greater<>> open;
  cost.at<float>(ay, ax) = 0;
  open.push({0.f, ay * w + ax});
  while (!open.empty()) {
    const auto [c, at] = open.top();
    open.pop();
    const int cx = at % w, cy = at / w;
    if (c > cost.at<float>(cy, cx)) continue;
    for (int k = 0; k < 8; ++k) {
      const int tx = cx + kDx[k], ty = cy + kDy[k];
      if (tx < 0 || ty < 0 || tx >= w || ty >= h) continue;
      const float weak = 1.f - strength.at<float>(ty, tx), price = (0.03f + weak * weak * weak) * (k % 2 ? 1.41421356f : 1.f);
      if (c + price < cost.at<float>(ty, tx)) {
        cost.at<float>(ty, tx) = c + price;
        s.from.at<signed char>(ty, tx) = static_cast<signed char>((k + 4) % 8);
        open.push({c + price, ty * w + tx});
      }
    }
  }
}

LiveEdge::~LiveEdge() = default;
LiveEdge::LiveEdge(LiveEdge&&) noexcept = default;
LiveEdge& LiveEdge::operator=(LiveEdge&&) noexcept = default;

std::vector<ImagePoint> LiveEdge::path_to(const ImagePoint& to) const {
  const auto& s = *solution_;
  if (s.from.empty() || !std::isfinite(to.x) || !std::isfinite(to.y)) return {s.anchor, to};
  const auto p = s.crop.in_crop(to);
  int x = static_cast<int>(std::clamp(std::lround(p.x), 0L, s.from.cols - 1L)),
      y = static_cast<int>(std::clamp(std::lround(p.y), 0L, s.from.rows - 1L));
  std::vector<ImagePoint> path{to};
  bool first = true;
  while (s.from.at<signed char>(y, x) >= 0) {
    if (!first) path.push_back(s.crop.in_photo(ImagePoint{static_cast<double>(x), static_cast<double>(y)}));
    first = false;
    const int k = static_cast<unsigned char>(s.from.at<signed char>(y, x));
    x += kDx[k];
    y += kDy[k];
  }
  path.push_back(s.anchor);
  std::reverse(path.begin(), path.end());
  // Steps of whole pixels look like stairs: a short average, ends kept.
  auto calm = path;
  for (std::size_t i = 1; i + 1 < path.size(); ++i)
    calm[i] = {(path[i - 1].x + 2 * path[i].x + path[i + 1].x) / 4, (path[i - 1].y + 2 * path[i].y + path[i + 1].y) / 4};
  return calm;
}

}  // namespace uroko::margin
