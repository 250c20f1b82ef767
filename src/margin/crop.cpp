#include "margin/crop.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace uroko::margin {

Crop make_crop(const cv::Mat& bgr, const cv::Rect& box, int side, double enlarge) {
  Crop crop;
  crop.box = box & cv::Rect(0, 0, bgr.cols, bgr.rows);
  if (crop.box.empty()) return crop;
  const double s = std::min(enlarge, static_cast<double>(side) / std::max(crop.box.width, crop.box.height));
  const cv::Size size(std::max(1, static_cast<int>(std::lround(crop.box.width * s))),
                      std::max(1, static_cast<int>(std::lround(crop.box.height * s))));
  crop.sx = static_cast<double>(size.width) / crop.box.width;
  crop.sy = static_cast<double>(size.height) / crop.box.height;
  if (size == crop.box.size())
    crop.bgr = bgr(crop.box);
  else
    cv::resize(bgr(crop.box), crop.bgr, size, 0, 0, s < 1 ? cv::INTER_AREA : cv::INTER_CUBIC);
  return crop;
}

cv::Rect box_of(const ImageOutline& outline, double margin) {
  double x0 = 1e300, y0 = 1e300, x1 = -1e300, y1 = -1e300;
  for (const auto& part : outline.parts)
    for (const auto& p : part.outer) {
      x0 = std::min(x0, p.x), x1 = std::max(x1, p.x);
      y0 = std::min(y0, p.y), y1 = std::max(y1, p.y);
    }
  if (x0 > x1) return {};
  const double mx = margin * (x1 - x0), my = margin * (y1 - y0);
  const auto whole = [](double v) { return static_cast<int>(std::clamp(v, -1e8, 1e8)); };
  const int left = whole(std::floor(x0 - mx)), top = whole(std::floor(y0 - my));
  return {left, top, whole(std::ceil(x1 + mx)) - left + 1, whole(std::ceil(y1 + my)) - top + 1};
}

}  // namespace uroko::margin
