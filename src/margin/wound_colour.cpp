#include "margin/wound_colour.h"

#include <cmath>
#include <opencv2/imgproc.hpp>

namespace uroko::margin {
namespace {

cv::Mat smoothed(const cv::Mat& picture, const cv::Mat& weight3, double sigma) {
  cv::Mat sum, norm;
  cv::GaussianBlur(picture.mul(weight3), sum, {}, sigma);
  cv::GaussianBlur(weight3, norm, {}, sigma);
  cv::max(norm, 1e-3, norm);
  return sum / norm;
}

}  // namespace

std::vector<cv::Mat> colour_traits(const cv::Mat& lab, const cv::Mat& weight) {
  cv::Mat weight3;
  cv::merge(std::vector<cv::Mat>{weight, weight, weight}, weight3);
  const cv::Mat near = smoothed(lab, weight3, 1.2), around = smoothed(lab, weight3, 6), wide = smoothed(lab, weight3, 20);
  cv::Mat squares = smoothed(lab.mul(lab), weight3, 2.5), mean = smoothed(lab, weight3, 2.5);
  std::vector<cv::Mat> out, a, b, s;
  cv::split(cv::Mat(near - cv::Scalar(128, 128, 128)), out);
  cv::split(cv::Mat(near - around), a);
  cv::split(cv::Mat(near - wide), b);
  cv::split(cv::Mat(squares - mean.mul(mean)), s);
  out.insert(out.end(), a.begin(), a.end());
  out.insert(out.end(), b.begin(), b.end());
  cv::Mat uneven;
  cv::sqrt(cv::max(s[0], 0), uneven);
  out.push_back(uneven);
  for (auto& picture : out) picture = picture / 25;
  return out;
}

void colour_terms(const std::vector<cv::Mat>& traits, const cv::Point& at, double* terms) {
  double x[kColourTraits];
  for (int k = 0; k < kColourTraits; ++k) x[k] = traits[static_cast<std::size_t>(k)].at<float>(at);
  *terms++ = 1;
  for (const double v : x) *terms++ = v;
  for (int i = 0; i < kColourTraits; ++i)
    for (int j = i; j < kColourTraits; ++j) *terms++ = x[i] * x[j];
}

cv::Mat wound_colour(const cv::Mat& lab, const cv::Mat& weight) {
  // Logistic regression on pixels of rendered koi and of the even photos of fuseg_foot_ulcer.
  static constexpr double kWeights[kColourTerms] = {
      -10.575, -0.945, 8.857,  9.323,  1.810,  -1.400, 1.572, -2.310, -0.701, 0.105, 11.739, -0.406, -0.640, 0.793,  0.111,  -0.647, -0.156,
      0.125,   -1.650, 2.266,  0.989,  -0.705, -5.386, 1.100, -6.356, 3.211,  0.391, 2.740,  -4.354, -2.202, -5.122, -2.866, -2.946, 2.757,
      0.625,   1.091,  -2.187, -0.643, 0.479,  -5.508, 4.597, -0.280, 0.058,  0.376, -1.213, 3.264,  -6.426, -0.150, 1.266,  -3.750, 2.755,
      -1.901,  1.513,  1.895,  2.345,  0.629,  -0.134, 2.611, -3.634, 0.837,  6.904, -4.634, -0.954, -2.081, 2.891,  -4.909};
  const auto traits = colour_traits(lab, weight);
  cv::Mat out(lab.size(), CV_32F);
  double terms[kColourTerms];
  for (int y = 0; y < out.rows; ++y)
    for (int x = 0; x < out.cols; ++x) {
      colour_terms(traits, {x, y}, terms);
      double z = 0;
      for (int k = 0; k < kColourTerms; ++k) z += kWeights[k] * terms[k];
      out.at<float>(y, x) = static_cast<float>(1 / (1 + std::exp(-z)));
    }
  out.setTo(0, weight == 0);
  return out;
}

}  // namespace uroko::margin
