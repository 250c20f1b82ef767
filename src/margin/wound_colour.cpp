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
      -10.034, -1.018, 8.698,  9.914,  1.868,  -0.748, 2.128, -1.718, 0.137, 2.345, 9.542,  -0.326, -0.862, 1.124,  0.091,  -0.764, 0.058,
      -0.053,  -1.465, 1.253,  0.819,  -0.722, -5.233, 0.884, -5.495, 2.444, 0.122, 3.193,  -4.501, -1.849, -5.590, -2.861, -3.641, 2.248,
      0.753,   -0.129, -3.638, -0.978, 0.457,  -5.395, 4.146, -0.431, 0.184, 0.753, -1.034, 3.696,  -6.791, -0.158, 1.140,  -3.154, 2.120,
      -2.453,  1.219,  1.085,  2.718,  0.925,  0.109,  2.533, -2.769, 0.483, 5.497, -3.797, -0.681, 2.135,  2.349,  -3.767};
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
