// A wet film throws the lamp's own light back over the tissue's colour: body and surface reflection add up (Shafer 1985, Color Res Appl 10:210). After
// white balance the lamp is neutral, so the film adds the same linear light to all three channels. Where the film is uneven that is a glint, narrower
// than the patches that tissue comes in; where it is smooth, a sheen about as broad as the wound.
#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "bed/gaussian.h"
#include "bed/light.h"
#include "bed/pixels.h"

namespace uroko::bed {
namespace {

/// How far the darkest channel of each pixel stands above its opening by a disc (white top-hat, Serra 1982). Light in one channel alone is colour and
/// stays.
cv::Mat glints_of(const cv::Mat& linear, const cv::Mat& seen, int disc_px) {
  cv::Mat least(linear.size(), CV_32F), open;
  for (int y = 0; y < linear.rows; ++y)
    for (int x = 0; x < linear.cols; ++x) {
      const auto& c = linear.at<cv::Vec3f>(y, x);
      least.at<float>(y, x) = std::min({c[0], c[1], c[2]});
    }
  const cv::Mat disc = cv::getStructuringElement(cv::MORPH_ELLIPSE, {disc_px, disc_px}), unseen = seen == 0;
  // What lies outside the wound, or below glare, has no say.
  least.copyTo(open);
  open.setTo(1e3, unseen);
  cv::erode(open, open, disc);
  open.setTo(0, unseen);
  cv::dilate(open, open, disc);
  cv::Mat glints = cv::max(cv::Mat(least - open), 0);
  glints.setTo(0, unseen);
  return glints;
}

/// The neutral light that leaves the likeliest colours in each half of the wound's breadth; its own prior falls off exponentially.
cv::Mat sheen_of(const cv::Mat& linear, const cv::Mat& seen, const Thresholds& thresholds) {
  constexpr std::array<double, 12> kLevels = {0, .005, .01, .015, .02, .03, .04, .05, .06, .07, .085, .1};  // linear light, white = 1
  constexpr double kEvidence = 20;   // pixels' worth of a neighbourhood: neighbours are not independent
  constexpr double kUnlike = 1e-7;   // density of what is no tissue, so that a glove does not decide
  constexpr int kSide = 64;
  const double shrink = std::min(1.0, kSide / static_cast<double>(std::max(linear.cols, linear.rows)));
  const cv::Size small(std::max(1, cvRound(linear.cols * shrink)), std::max(1, cvRound(linear.rows * shrink)));
  cv::Mat share, share3, colour, weight;
  seen.convertTo(share, CV_32F, 1.0 / 255);
  cv::merge(std::vector<cv::Mat>{share, share, share}, share3);
  cv::resize(linear.mul(share3), colour, small, 0, 0, cv::INTER_AREA);
  cv::resize(share, weight, small, 0, 0, cv::INTER_AREA);
  std::vector<Gaussian> gaussians;
  for (const auto& c : thresholds.colours) gaussians.emplace_back(c);
  std::vector<cv::Mat> likelihood(kLevels.size());
  for (auto& m : likelihood) m = cv::Mat::zeros(small, CV_32F);
  for (int y = 0; y < small.height; ++y)
    for (int x = 0; x < small.width; ++x) {
      const float n = weight.at<float>(y, x);
      if (n < 0.3f) {
        weight.at<float>(y, x) = 0;
        continue;
      }
      const cv::Vec3f c = colour.at<cv::Vec3f>(y, x) / n;
      for (std::size_t j = 0; j < kLevels.size(); ++j) {
        const Lab lab = lab_from_linear(c[2] - kLevels[j], c[1] - kLevels[j], c[0] - kLevels[j]);
        const cv::Vec3f at(static_cast<float>(lab.l), static_cast<float>(lab.a), static_cast<float>(lab.b));
        double mass = kUnlike;
        for (const auto& g : gaussians) mass += std::exp(std::max(-600.0, static_cast<double>(g.constant - 0.5f * g.distance2(at))));
        likelihood[j].at<float>(y, x) = static_cast<float>(std::log(mass));
      }
    }
  const int window = std::max(3, std::max(small.width, small.height) / 2) | 1;
  const auto mean_of = [&](const cv::Mat& m) {
    cv::Mat out;
    cv::boxFilter(m, out, CV_32F, {window, window}, {-1, -1}, true, cv::BORDER_CONSTANT);
    return out;
  };
  const cv::Mat count = cv::max(mean_of(weight), 0.02);
  cv::Mat sum = cv::Mat::zeros(small, CV_32F), all = cv::Mat::zeros(small, CV_32F), top(small, CV_32F, cv::Scalar(-1e30));
  for (std::size_t j = 0; j < kLevels.size(); ++j) {
    likelihood[j] = mean_of(likelihood[j].mul(weight)) / count * kEvidence - kLevels[j] / thresholds.sheen;
    cv::max(top, likelihood[j], top);
  }
  for (std::size_t j = 0; j < kLevels.size(); ++j) {
    cv::Mat p;
    cv::exp(likelihood[j] - top, p);
    all += p;
    sum += p * kLevels[j];
  }
  cv::Mat out;
  cv::resize(sum / all, out, linear.size(), 0, 0, cv::INTER_LINEAR);
  return out;
}

}  // namespace

int glint_px(const Thresholds& thresholds, double px_per_mm) {
  constexpr double kUsualPxPerMm = 7;
  const double reach = thresholds.glint_mm * (px_per_mm > 0 ? px_per_mm : kUsualPxPerMm) / 2;
  return 2 * static_cast<int>(std::lround(std::clamp(reach, 1.0, 40.0))) + 1;
}

cv::Mat tissue_lab(const cv::Mat& bgr, const cv::Mat& seen, const WhiteBalance& balance, const Thresholds& thresholds, double px_per_mm) {
  cv::Mat calm, veil;
  if (thresholds.median_px > 1 && std::min(bgr.rows, bgr.cols) > thresholds.median_px)
    cv::medianBlur(bgr, calm, thresholds.median_px);
  else
    calm = bgr;
  cv::Mat linear = linear_image(calm, balance);
  const auto take_off = [&](const cv::Mat& light) {
    cv::Mat three;
    cv::merge(std::vector<cv::Mat>{light, light, light}, three);
    linear -= three;
  };
  if (thresholds.glint_mm > 0) take_off(glints_of(linear, seen, glint_px(thresholds, px_per_mm)));
  if (thresholds.sheen > 0 && cv::countNonZero(seen) > 0) take_off(sheen_of(linear, seen, thresholds));
  return lab_of_linear(linear);
}

}  // namespace uroko::bed
