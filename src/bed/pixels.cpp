#include "bed/pixels.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <opencv2/imgproc.hpp>

#include "bed/gaussian.h"
#include "bed/light.h"

namespace uroko::bed {

namespace {

/// 5 x 5 mean of a CV_32FC4 picture over the mask's pixels.
cv::Mat mean_inside(const cv::Mat& values, const cv::Mat& mask) {
  cv::Mat inside, count, sum;
  mask.convertTo(inside, CV_32F, 1.0 / 255);
  cv::boxFilter(inside, count, CV_32F, {5, 5}, {-1, -1}, false, cv::BORDER_CONSTANT);
  cv::boxFilter(values, sum, CV_32F, {5, 5}, {-1, -1}, false, cv::BORDER_CONSTANT);
  for (int y = 0; y < sum.rows; ++y)
    for (int x = 0; x < sum.cols; ++x)
      if (mask.at<uchar>(y, x) != 0) sum.at<cv::Vec4f>(y, x) *= 1 / count.at<float>(y, x);
  return sum;
}

/// Tissue comes in patches: two mean-field steps of a Potts model over 5 x 5 neighbours (pixels outside the wound have no say).
cv::Mat agreed_with_neighbours(const cv::Mat& own, const cv::Mat& mask, double weight) {
  if (weight <= 0) return own;
  cv::Mat now = own.clone();
  for (int step = 0; step < 2; ++step) {
    const cv::Mat around = mean_inside(now, mask);
    for (int y = 0; y < now.rows; ++y)
      for (int x = 0; x < now.cols; ++x) {
        if (mask.at<uchar>(y, x) == 0) continue;
        const auto& p = own.at<cv::Vec4f>(y, x);
        const auto& a = around.at<cv::Vec4f>(y, x);
        cv::Vec4f q;
        float sum = 0;
        for (int k = 0; k < kKinds; ++k) sum += q[k] = p[k] * std::exp(static_cast<float>(weight) * a[k]);
        now.at<cv::Vec4f>(y, x) = q * (1 / sum);
      }
  }
  return now;
}

}  // namespace

PixelClasses classes_of(const cv::Mat& bgr, const cv::Mat& mask, const WhiteBalance& balance, const Thresholds& thresholds, double px_per_mm) {
  PixelClasses out;
  const cv::Mat glare = find_glare(bgr, mask, thresholds.glare);
  const cv::Mat lab = tissue_lab(bgr, mask & ~glare, balance, thresholds, px_per_mm);

  std::vector<Gaussian> gaussians;
  for (const auto& c : thresholds.colours) gaussians.emplace_back(c);
  const float gate2 = static_cast<float>(thresholds.gate * thresholds.gate);

  out.labels = cv::Mat(mask.size(), CV_8U, cv::Scalar(255));
  cv::Mat likeliest(mask.size(), CV_8U, cv::Scalar(255));
  out.posterior = cv::Mat::zeros(mask.size(), CV_32FC4);
  for (int y = 0; y < lab.rows; ++y)
    for (int x = 0; x < lab.cols; ++x) {
      if (mask.at<uchar>(y, x) == 0) continue;
      auto& posterior = out.posterior.at<cv::Vec4f>(y, x);
      auto& label = out.labels.at<uchar>(y, x);
      if (glare.at<uchar>(y, x) != 0) {
        posterior = cv::Vec4f::all(0.25f);
        label = static_cast<uchar>(Tissue::glare);
        continue;
      }
      float closest = 1e30f;
      std::array<double, kKinds> mass{};
      for (const auto& g : gaussians) {
        const float d2 = g.distance2(lab.at<cv::Vec3f>(y, x));
        closest = std::min(closest, d2);
        mass[static_cast<std::size_t>(g.tissue)] += std::exp(std::max(-600.0, double(g.constant - 0.5f * d2)));
      }
      const double whole = std::accumulate(mass.begin(), mass.end(), 0.0);
      for (int k = 0; k < kKinds; ++k) posterior[k] = static_cast<float>(whole > 0 ? mass[static_cast<std::size_t>(k)] / whole : 1.0 / kKinds);
      label = static_cast<uchar>(closest > gate2 ? Tissue::unsure : Tissue::granulation);
    }
  // The neighbours decide which tissue; how sure that is stays with the colours, or agreement alone would make certainty.
  const cv::Mat own_seen = out.posterior, own = mean_inside(own_seen, mask);
  out.posterior = agreed_with_neighbours(out.posterior, mask, thresholds.neighbours);
  for (int y = 0; y < lab.rows; ++y)
    for (int x = 0; x < lab.cols; ++x) {
      auto& label = out.labels.at<uchar>(y, x);
      if (label == 255 || label == static_cast<uchar>(Tissue::glare)) continue;
      const auto& posterior = out.posterior.at<cv::Vec4f>(y, x);
      int best = 0;
      for (int k = 1; k < kKinds; ++k)
        if (posterior[k] > posterior[best]) best = k;
      likeliest.at<uchar>(y, x) = static_cast<uchar>(best);
      if (label != static_cast<uchar>(Tissue::unsure)) label = static_cast<uchar>(own.at<cv::Vec4f>(y, x)[best] < thresholds.least_posterior ? Tissue::unsure : static_cast<Tissue>(best));
    }
  // A glint narrower than the patches that tissue comes in hides no tissue of its own: it goes to what is seen round it, where that is of one kind.
  if (thresholds.glint_mm > 0) {
    const int disc_px = glint_px(thresholds, px_per_mm);
    const cv::Mat disc = cv::getStructuringElement(cv::MORPH_ELLIPSE, {disc_px, disc_px});
    cv::Mat wide, sum, inside, count;
    cv::erode(glare, wide, disc, {-1, -1}, 1, cv::BORDER_CONSTANT, cv::Scalar(0));
    cv::dilate(wide, wide, disc);
    const cv::Mat narrow = glare & ~wide;
    if (cv::countNonZero(narrow) > 0) {
      cv::Mat(mask & ~glare).convertTo(inside, CV_32F, 1.0 / 255);
      cv::Mat seen;
      cv::merge(std::vector<cv::Mat>(4, inside), seen);
      cv::boxFilter(own_seen.mul(seen), sum, CV_32F, {2 * disc_px + 1, 2 * disc_px + 1}, {-1, -1}, false, cv::BORDER_CONSTANT);
      cv::boxFilter(inside, count, CV_32F, {2 * disc_px + 1, 2 * disc_px + 1}, {-1, -1}, false, cv::BORDER_CONSTANT);
      for (int y = 0; y < lab.rows; ++y)
        for (int x = 0; x < lab.cols; ++x) {
          if (narrow.at<uchar>(y, x) == 0 || count.at<float>(y, x) < static_cast<float>(disc_px)) continue;
          const cv::Vec4f around = sum.at<cv::Vec4f>(y, x) * (1 / count.at<float>(y, x));
          const auto best = static_cast<int>(std::max_element(around.val, around.val + kKinds) - around.val);
          if (around[best] < thresholds.least_posterior) continue;
          out.posterior.at<cv::Vec4f>(y, x) = around;
          out.labels.at<uchar>(y, x) = static_cast<uchar>(best);
        }
    }
  }
  // Along the seam of two tissues the pixels are mixtures; a thin strip of them is no third thing and goes to the likelier side.
  const cv::Mat unsure = out.labels == static_cast<int>(Tissue::unsure);
  cv::Mat wide;
  const int r = thresholds.seam_px;
  if (r > 0) {
    const cv::Mat disc = cv::getStructuringElement(cv::MORPH_ELLIPSE, {2 * r + 1, 2 * r + 1});
    cv::erode(unsure, wide, disc, {-1, -1}, 1, cv::BORDER_CONSTANT, cv::Scalar(0));
    cv::dilate(wide, wide, disc);
    likeliest.copyTo(out.labels, unsure & ~wide);
  }
  return out;
}

}  // namespace uroko::bed
