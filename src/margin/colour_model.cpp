#include "margin/colour_model.h"

#include <opencv2/imgproc.hpp>

namespace uroko::margin {

namespace {

constexpr int kCells = 32;

int cell(const cv::Vec3b& c) { return ((c[0] >> 3) * kCells + (c[1] >> 3)) * kCells + (c[2] >> 3); }

/// Along one axis; what would come from beyond the cube is lost.
void blur_axis(std::vector<float>& cells, int stride) {
  constexpr float kFar = .06f, kNear = .24f, kHere = .40f;
  // Two cells of nothing before and after the 32 along the axis.
  std::vector<float> line(static_cast<std::size_t>((kCells + 4) * stride), 0.f);
  const int block = kCells * stride;
  for (int base = 0; base < kCells * kCells * kCells; base += block) {
    std::copy_n(cells.begin() + base, block, line.begin() + 2 * stride);
    const float* in = line.data();
    float* out = cells.data() + base;
    for (int i = 0; i < block; ++i)
      out[i] = kFar * in[i] + kNear * in[i + stride] + kHere * in[i + 2 * stride] + kNear * in[i + 3 * stride] + kFar * in[i + 4 * stride];
  }
}

std::vector<float> histogram(const cv::Mat& lab, const cv::Mat& weight) {
  std::vector<float> cells(kCells * kCells * kCells, 0.f);
  double total = 0;
  for (int y = 0; y < lab.rows; ++y) {
    const auto* c = lab.ptr<cv::Vec3b>(y);
    const auto* w = weight.ptr<float>(y);
    for (int x = 0; x < lab.cols; ++x) {
      if (w[x] <= 0) continue;
      cells[static_cast<std::size_t>(cell(c[x]))] += w[x];
      total += static_cast<double>(w[x]);
    }
  }
  if (total > 0)
    for (auto& v : cells) v = static_cast<float>(static_cast<double>(v) / total);
  blur_axis(cells, 1);
  blur_axis(cells, kCells);
  blur_axis(cells, kCells * kCells);
  return cells;
}

}  // namespace

ColourModel::ColourModel(const cv::Mat& lab, const cv::Mat& inside_weight, const cv::Mat& outside_weight)
    : inside_(histogram(lab, inside_weight)), outside_(histogram(lab, outside_weight)) {}

cv::Mat ColourModel::posterior(const cv::Mat& lab) const {
  // A colour hardly seen says little: a small constant pulls both towards evens.
  constexpr float kUnseen = 1e-5f;
  cv::Mat p(lab.size(), CV_32F);
  for (int y = 0; y < lab.rows; ++y) {
    const auto* c = lab.ptr<cv::Vec3b>(y);
    auto* out = p.ptr<float>(y);
    for (int x = 0; x < lab.cols; ++x) {
      const auto k = static_cast<std::size_t>(cell(c[x]));
      out[x] = (inside_[k] + kUnseen) / (inside_[k] + outside_[k] + 2 * kUnseen);
    }
  }
  return p;
}

cv::Mat colour_odds(const cv::Mat& lab, const cv::Mat& inside_weight, const cv::Mat& outside_weight, double limit) {
  cv::Mat p = ColourModel(lab, inside_weight, outside_weight).posterior(lab), yes, no;
  cv::GaussianBlur(p, p, {}, 1);
  cv::log(p + 1e-6, yes);
  cv::log(1.000001 - p, no);
  return cv::max(cv::min(yes - no, limit), -limit);
}

cv::Mat lab_of(const cv::Mat& bgr) {
  cv::Mat lab;
  // OpenCV 4.6 makes its tables at the first conversion, without a lock: of two photos at once each would make them, and one set would be lost.
  static const bool tables_made = [] {
    cv::Mat ignored;
    cv::cvtColor(cv::Mat(1, 1, CV_8UC3, cv::Scalar::all(0)), ignored, cv::COLOR_BGR2Lab);
    return true;
  }();
  (void)tables_made;
  cv::cvtColor(bgr, lab, cv::COLOR_BGR2Lab);
  return lab;
}

}  // namespace uroko::margin
