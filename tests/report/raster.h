#pragma once
// Printed pages looked at through another program (poppler's pdftoppm), in millimetres.
#include <fstream>
#include <opencv2/core.hpp>
#include <optional>
#include <string>

#include "support/command.h"
#include "uroko/photo/photo.h"

namespace uroko::testing {

/// One page as pixels at that density; page counts from 1.
inline cv::Mat rasterised(const std::string& pdf, int page, int dpi) {
  const std::string number = std::to_string(page), out = pdf + ".p" + number;
  run({"pdftoppm", "-r", std::to_string(dpi), "-f", number, "-l", number, "-singlefile", "-png", pdf, out});
  return photo::load(out + ".png").bgr;
}

/// Darkness 0..255 summed over a row or column band, used for centres of printed strokes.
inline double darkness(const cv::Mat& bgr, int x, int y) {
  const auto p = bgr.at<cv::Vec3b>(y, x);
  return 255 - (p[0] + p[1] + p[2]) / 3.0;
}

/// Centre, weighted by darkness, of the stroke across row y between columns x0 and x1; nothing when there is no ink.
inline std::optional<double> stroke_centre_x(const cv::Mat& bgr, int y, int x0, int x1) {
  double sum = 0, moment = 0;
  for (int x = std::max(0, x0); x < std::min(bgr.cols, x1); ++x) {
    const double d = darkness(bgr, x, y);
    sum += d;
    moment += d * (x + 0.5);
  }
  if (sum < 60) return std::nullopt;
  return moment / sum;
}

}  // namespace uroko::testing
