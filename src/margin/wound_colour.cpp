#include "margin/wound_colour.h"

#include <cmath>
#include <opencv2/imgproc.hpp>

namespace uroko::margin {

cv::Mat smoothed(const cv::Mat& picture, const cv::Mat& weight, double sigma) {
  cv::Mat sum, norm;
  cv::GaussianBlur(picture.mul(weight), sum, {}, sigma);
  cv::GaussianBlur(weight, norm, {}, sigma);
  cv::max(norm, 1e-3, norm);
  return sum / norm;
}

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
  // Logistic regression on pixels of rendered koi and painted patches.
  static constexpr double kWeights[kColourTerms] = {
      -3.826, 0.874,  12.591, 8.480, -1.114, 1.263,   2.219, 0.858,  3.775,  5.991,  1.969,  -1.143, -2.470, -0.020, 1.562,  1.663,  -1.688,
      -0.757, -2.749, 1.677,  1.481, -1.525, -12.423, 2.625, 1.091,  -1.188, -1.138, 0.091,  -6.296, 0.215,  -3.511, -1.731, -4.257, 2.839,
      -0.353, -8.028, 2.479,  0.129, 0.375,  -4.280,  2.384, -0.962, 1.145,  0.253,  -0.836, 4.130,  -4.937, 1.392,  3.971,  -2.343, 0.599,
      -2.038, -0.255, -2.068, 2.529, -0.552, 0.567,   1.082, -1.053, -0.161, 3.666,  -3.323, -1.635, 5.476,  2.053,  -2.279};
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
