#include "margin/geodesic.h"

#include <algorithm>
#include <cmath>

namespace uroko::margin {

cv::Mat geodesic_distance(const cv::Mat& p, const cv::Mat& seeds, float per_length) {
  cv::Mat d(p.size(), CV_32F, cv::Scalar(1e6));
  d.setTo(0, seeds);
  const float straight = per_length, diagonal = per_length * 1.41421356f;
  const auto relax = [&](int y, int x, int dy, int dx, float length) {
    const int ny = y + dy, nx = x + dx;
    if (ny < 0 || nx < 0 || ny >= p.rows || nx >= p.cols) return;
    const float v = d.at<float>(ny, nx) + std::abs(p.at<float>(ny, nx) - p.at<float>(y, x)) + length;
    float& own = d.at<float>(y, x);
    if (v < own) own = v;
  };
  for (int pass = 0; pass < 3; ++pass) {
    for (int y = 0; y < p.rows; ++y)
      for (int x = 0; x < p.cols; ++x) {
        relax(y, x, 0, -1, straight);
        relax(y, x, -1, -1, diagonal);
        relax(y, x, -1, 0, straight);
        relax(y, x, -1, 1, diagonal);
      }
    for (int y = p.rows - 1; y >= 0; --y)
      for (int x = p.cols - 1; x >= 0; --x) {
        relax(y, x, 0, 1, straight);
        relax(y, x, 1, 1, diagonal);
        relax(y, x, 1, 0, straight);
        relax(y, x, 1, -1, diagonal);
      }
  }
  return d;
}

}  // namespace uroko::margin
