#include "margin/coarse.h"

#include <opencv2/imgproc.hpp>

#include "margin/colour_model.h"
#include "margin/geodesic.h"

namespace uroko::margin {

cv::Mat largest_part(const cv::Mat& mask, bool keep_holes) {
  cv::Mat labels, stats, centres;
  const int n = cv::connectedComponentsWithStats(mask, labels, stats, centres, 4);
  int best = 0, most = 0;
  for (int i = 1; i < n; ++i)
    if (stats.at<int>(i, cv::CC_STAT_AREA) > most) most = stats.at<int>(i, cv::CC_STAT_AREA), best = i;
  if (!best) return {};
  cv::Mat part = labels == best;
  if (keep_holes) return part;
  // What the outside cannot reach is inside.
  cv::Mat wide;
  cv::copyMakeBorder(part, wide, 1, 1, 1, 1, cv::BORDER_CONSTANT, 0);
  cv::floodFill(wide, {0, 0}, 128);
  return wide(cv::Rect(1, 1, part.cols, part.rows)) != 128;
}

cv::Mat coarse_in_loop(const cv::Mat& bgr, const cv::Mat& lab, const cv::Mat& loop, std::uint64_t seed) {
  cv::Mat depth;
  {
    cv::Mat wide;
    cv::copyMakeBorder(loop, wide, 1, 1, 1, 1, cv::BORDER_REPLICATE);
    cv::distanceTransform(wide, depth, cv::DIST_L2, 5);
    depth = depth(cv::Rect(1, 1, loop.cols, loop.rows));
  }
  double deepest = 0;
  cv::minMaxLoc(depth, nullptr, &deepest);
  const cv::Mat inside = depth > 0.6 * deepest, outside = loop == 0;
  if (cv::countNonZero(inside) < 4 || cv::countNonZero(outside) < 4) return {};
  cv::Mat wi, wo;
  inside.convertTo(wi, CV_32F, 1.0 / 255);
  outside.convertTo(wo, CV_32F, 1.0 / 255);
  cv::Mat p = ColourModel(lab, wi, wo).posterior(lab);
  cv::GaussianBlur(p, p, {}, 1);
  const cv::Mat df = geodesic_distance(p, inside), db = geodesic_distance(p, outside);
  cv::Mat found = (df < db) & loop;
  // One grabCut iteration from there. It draws from OpenCV's global generator: seeded, so that the answer repeats.
  cv::Mat labels(loop.size(), CV_8U, cv::Scalar(cv::GC_BGD));
  labels.setTo(cv::GC_PR_BGD, loop);
  labels.setTo(cv::GC_PR_FGD, found);
  if (cv::countNonZero(found) > 10 && cv::countNonZero(found == 0) > 10) {
    cv::setRNGSeed(static_cast<int>(seed & 0x7fffffff));
    cv::Mat background, foreground;
    cv::grabCut(bgr, labels, {}, background, foreground, 1, cv::GC_INIT_WITH_MASK);
    const cv::Mat cut = (labels == cv::GC_FGD) | (labels == cv::GC_PR_FGD);
    if (cv::countNonZero(cut) > 4) found = cut;
  }
  return found;
}

}  // namespace uroko::margin
