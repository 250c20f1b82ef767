#include "bed/raster.h"

#include <algorithm>
#include <cmath>

namespace uroko::bed {

Raster rasterised(const ImageOutline& outline, const cv::Size& photo, int longest_side) {
  Raster out;
  double x0 = 1e300, y0 = 1e300, x1 = -1e300, y1 = -1e300;
  for (const auto& part : outline.parts)
    for (const auto& p : part.outer) {
      x0 = std::min(x0, p.x), x1 = std::max(x1, p.x);
      y0 = std::min(y0, p.y), y1 = std::max(y1, p.y);
    }
  if (!(x1 >= x0 && y1 >= y0) || x1 < -0.5 || y1 < -0.5 || x0 > photo.width - 0.5 || y0 > photo.height - 0.5) return out;
  const auto low = [](double v) { return static_cast<int>(std::floor(std::max(0.0, v - 2))); };
  const int left = low(x0), top = low(y0);
  const int right = static_cast<int>(std::min<double>(photo.width, std::ceil(x1 + 3))), bottom = static_cast<int>(std::min<double>(photo.height, std::ceil(y1 + 3)));
  if (right <= left || bottom <= top) return out;
  out.box = {left, top, right - left, bottom - top};
  out.scale = std::min(1.0, double(longest_side) / std::max(out.box.width, out.box.height));
  const int columns = std::max(1, static_cast<int>(std::lround(out.box.width * out.scale))), rows = std::max(1, static_cast<int>(std::lround(out.box.height * out.scale)));
  out.mask = cv::Mat::zeros(rows, columns, CV_8U);
  // Even-odd by scan lines through the pixels' centres, so that holes are holes.
  std::vector<double> crossings;
  for (int y = 0; y < rows; ++y) {
    const double py = out.photo_point(0, y).y;
    crossings.clear();
    const auto cross = [&](const Ring<ImagePoint>& ring) {
      for (std::size_t i = 0; i < ring.size(); ++i) {
        const auto &a = ring[i], &b = ring[(i + 1) % ring.size()];
        if ((a.y <= py) != (b.y <= py)) crossings.push_back(a.x + (py - a.y) / (b.y - a.y) * (b.x - a.x));
      }
    };
    for (const auto& part : outline.parts) {
      cross(part.outer);
      for (const auto& hole : part.holes) cross(hole);
    }
    std::sort(crossings.begin(), crossings.end());
    for (std::size_t i = 0; i + 1 < crossings.size(); i += 2) {
      const auto column = [&](double x) { return (x - out.box.x + 0.5) * out.scale - 0.5; };
      const int from = std::max(0, static_cast<int>(std::ceil(column(crossings[i])))), to = std::min(columns - 1, static_cast<int>(std::floor(column(crossings[i + 1]))));
      for (int x = from; x <= to; ++x) out.mask.at<uchar>(y, x) = 255;
    }
  }
  return out;
}

}  // namespace uroko::bed
