#include <algorithm>
#include <opencv2/imgproc.hpp>

#include "bed/light.h"

namespace uroko::bed {

cv::Mat find_glare(const cv::Mat& bgr, const cv::Mat& mask, const GlareOptions& o) {
  // What stands above its surroundings in all three channels is a reflection; white skin is bright but its surroundings are so too.
  cv::Mat least(bgr.size(), CV_8U), seed = cv::Mat::zeros(bgr.size(), CV_8U), may_grow = cv::Mat::zeros(bgr.size(), CV_8U);
  for (int y = 0; y < bgr.rows; ++y)
    for (int x = 0; x < bgr.cols; ++x) {
      const auto& p = bgr.at<cv::Vec3b>(y, x);
      least.at<uchar>(y, x) = std::min({p[0], p[1], p[2]});
    }
  cv::Mat quarter, background;
  cv::resize(least, quarter, cv::Size(std::max(1, least.cols / 4), std::max(1, least.rows / 4)), 0, 0, cv::INTER_AREA);
  const int window = std::clamp((std::min(quarter.cols, quarter.rows) / 3) | 1, 3, 31);
  cv::medianBlur(quarter, quarter, window);
  cv::resize(quarter, background, least.size(), 0, 0, cv::INTER_LINEAR);

  for (int y = 0; y < bgr.rows; ++y)
    for (int x = 0; x < bgr.cols; ++x) {
      if (mask.at<uchar>(y, x) == 0) continue;
      const auto& p = bgr.at<cv::Vec3b>(y, x);
      const int v = std::max({p[0], p[1], p[2]}), low = least.at<uchar>(y, x), above = low - background.at<uchar>(y, x);
      const double saturation = v == 0 ? 0 : 255.0 * (v - low) / v;
      const bool clipped = low >= 250;
      if (clipped || (v >= o.seed_value && saturation <= o.seed_saturation && above > o.seed_above)) seed.at<uchar>(y, x) = 255;
      if (clipped || (v >= o.grow_value && saturation <= o.grow_saturation && above > o.grow_above)) may_grow.at<uchar>(y, x) = 255;
    }
  // A highlight's flank is a few pixels wide; further growth would run into cream-coloured slough.
  const cv::Mat cross = cv::getStructuringElement(cv::MORPH_ELLIPSE, {3, 3});
  cv::Mat out = seed.clone();
  for (int step = 0; step < 4; ++step) {
    cv::dilate(out, out, cross);
    out &= may_grow;
  }
  cv::Mat parts, stats, centres;
  const int n = cv::connectedComponentsWithStats(out, parts, stats, centres, 8);
  const double most = std::max(16.0, o.most_share * cv::countNonZero(mask));
  for (int i = 1; i < n; ++i) {
    if (stats.at<int>(i, cv::CC_STAT_AREA) <= most) continue;
    for (int y = 0; y < out.rows; ++y)
      for (int x = 0; x < out.cols; ++x)
        if (parts.at<int>(y, x) == i && least.at<uchar>(y, x) < 250) out.at<uchar>(y, x) = 0;
  }
  return out;
}

}  // namespace uroko::bed
