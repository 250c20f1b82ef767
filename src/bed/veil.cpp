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

double or_usual(double px_per_mm) { return px_per_mm > 0 ? px_per_mm : 7; }

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

/// Share of the places within about `sigma_px` where a glint stands out by more than `least` (linear light, white = 1), CV_32F. The lamp's light never comes
/// as a veil alone: where the film throws it back broadly, its ripples throw some back at full strength.
cv::Mat film_of(const cv::Mat& linear, const cv::Mat& seen, int disc_px, double least, double sigma_px) {
  constexpr double kSigma = 8;  // px that say enough of a slow field
  const double shrink = std::min(1.0, kSigma / sigma_px);
  const cv::Size small(std::max(1, cvRound(linear.cols * shrink)), std::max(1, cvRound(linear.rows * shrink)));
  const auto mean_of = [&](const cv::Mat& m) {
    cv::Mat out;
    m.convertTo(out, CV_32F, 1.0 / 255);
    cv::resize(out, out, small, 0, 0, cv::INTER_AREA);
    cv::GaussianBlur(out, out, {0, 0}, std::min(sigma_px, kSigma), 0, cv::BORDER_CONSTANT);
    return out;
  };
  cv::Mat film = mean_of(glints_of(linear, seen, disc_px) > least) / cv::max(mean_of(seen), 0.05);
  cv::resize(film, film, linear.size(), 0, 0, cv::INTER_LINEAR);
  return film;
}

/// The neutral light that leaves the likeliest colours in each `breadth` of the wound's; its own prior falls off exponentially with `scale` (CV_32F).
cv::Mat sheen_of(const cv::Mat& linear, const cv::Mat& seen, const Thresholds& thresholds, double breadth, const cv::Mat& scale) {
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
  const int window = std::max(3, static_cast<int>(std::max(small.width, small.height) * breadth)) | 1;
  cv::Mat prior;
  cv::resize(scale, prior, small, 0, 0, cv::INTER_AREA);
  const auto mean_of = [&](const cv::Mat& m) {
    cv::Mat out;
    cv::boxFilter(m, out, CV_32F, {window, window}, {-1, -1}, true, cv::BORDER_CONSTANT);
    return out;
  };
  const cv::Mat count = cv::max(mean_of(weight), 0.02);
  cv::Mat sum = cv::Mat::zeros(small, CV_32F), all = cv::Mat::zeros(small, CV_32F), top(small, CV_32F, cv::Scalar(-1e30));
  for (std::size_t j = 0; j < kLevels.size(); ++j) {
    likelihood[j] = mean_of(likelihood[j].mul(weight)) / count * kEvidence - kLevels[j] / prior;
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
  const double reach = thresholds.glint_mm * or_usual(px_per_mm) / 2;
  return 2 * static_cast<int>(std::lround(std::clamp(reach, 1.0, 40.0))) + 1;
}

cv::Mat tissue_lab(const cv::Mat& bgr, const cv::Mat& seen, const WhiteBalance& balance, const Thresholds& thresholds, double px_per_mm) {
  constexpr double kClose = 0.008;     // share of places under glints from which they stand close: the sheen is then looked for in full
  constexpr double kApart = 0.03;      // of the sheen's prior where there is no glint
  constexpr double kAnyGlint = 0.005;  // and from which glints are taken off in full
  cv::Mat calm;
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
  // How far each is taken off, by place: in full, or by the film that glints tell of.
  cv::Mat of_glints(linear.size(), CV_32F, cv::Scalar(1)), of_sheen = of_glints.clone();
  double breadth = 0.5;
  if (thresholds.film > 0) {
    const cv::Mat film = film_of(linear_image(bgr, balance), seen, glint_px(thresholds, px_per_mm), thresholds.film, std::clamp(2 * or_usual(px_per_mm), 2.0, 80.0));
    of_glints = cv::min(film / kAnyGlint, 1);
    of_sheen = cv::min(kApart + film / kClose, 1);
    breadth = 0.25;
  }
  if (thresholds.glint_mm > 0) take_off(glints_of(linear, seen, glint_px(thresholds, px_per_mm)).mul(of_glints));
  if (thresholds.sheen > 0 && cv::countNonZero(seen) > 0) take_off(sheen_of(linear, seen, thresholds, breadth, thresholds.sheen * of_sheen));
  return lab_of_linear(linear);
}

}  // namespace uroko::bed
