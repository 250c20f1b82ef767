// The general-purpose library's own ways from the same rough loop, as peers in the same run.
#pragma once
#include <opencv2/imgproc.hpp>
#include <opencv2/imgproc/segmentation.hpp>

#include "bench/margin_eval.h"
#include "margin/crop.h"

namespace uroko::eval {

inline cv::Mat back_on_photo(const cv::Mat& mask, const margin::Crop& crop, const cv::Size& photo) {
  cv::Mat out = cv::Mat::zeros(photo, CV_8U), part;
  cv::resize(mask, part, crop.box.size(), 0, 0, cv::INTER_LINEAR);
  cv::Mat(part > 127).copyTo(out(crop.box));
  return largest(out);
}

inline cv::Mat grab_cut(const cv::Mat& bgr, const cv::Mat& loop, int iterations) {
  cv::Mat labels(loop.size(), CV_8U, cv::Scalar(cv::GC_BGD)), background, foreground;
  labels.setTo(cv::GC_PR_FGD, loop);
  cv::setRNGSeed(1);
  cv::grabCut(bgr, labels, {}, background, foreground, iterations, cv::GC_INIT_WITH_MASK);
  return (labels == cv::GC_FGD) | (labels == cv::GC_PR_FGD);
}

/// cv::grabCut on the whole photo, five iterations.
inline cv::Mat grab_cut_photo(const cv::Mat& bgr, const ImageOutline& loop) { return largest(grab_cut(bgr, mask_of(loop, bgr.size()), 5)); }

/// cv::grabCut on the loop's box and 15 %, reduced to at most 256 px, five iterations.
inline cv::Mat grab_cut_crop(const cv::Mat& bgr, const ImageOutline& loop) {
  const auto crop = margin::make_crop(bgr, margin::box_of(loop, 0.15), 256);
  return back_on_photo(grab_cut(crop.bgr, margin::filled(crop.in_crop(loop), crop.bgr.size()), 5), crop, bgr.size());
}

/// cv::watershed on a crop of 384 px; markers: outside the loop, and where the loop is deeper than 0.6 of its deepest.
inline cv::Mat watershed_crop(const cv::Mat& bgr, const ImageOutline& loop) {
  const auto crop = margin::make_crop(bgr, margin::box_of(loop, 0.15), 384);
  const cv::Mat inside = margin::filled(crop.in_crop(loop), crop.bgr.size());
  cv::Mat depth, markers = cv::Mat::zeros(inside.size(), CV_32S), smooth;
  cv::distanceTransform(inside, depth, cv::DIST_L2, 5);
  double deepest = 0;
  cv::minMaxLoc(depth, nullptr, &deepest);
  markers.setTo(1, inside == 0);
  markers.setTo(2, depth > 0.6 * deepest);
  cv::GaussianBlur(crop.bgr, smooth, {}, 1.5);
  cv::watershed(smooth, markers);
  cv::Mat mask = markers == 2;
  cv::dilate(mask, mask, {});  // the dividing line itself belongs to nobody; half of it is the wound's
  return back_on_photo(mask, crop, bgr.size());
}

/// cv::segmentation::IntelligentScissorsMB on a crop of 384 px between twelve clicks: from twelve places of the loop, the strongest edge
/// inward within 40 % of the loop's radius.
inline cv::Mat scissors_crop(const cv::Mat& bgr, const ImageOutline& loop) {
  const auto crop = margin::make_crop(bgr, margin::box_of(loop, 0.15), 384);
  const auto local = crop.in_crop(loop);
  cv::Mat grey, gx, gy, strength;
  cv::cvtColor(crop.bgr, grey, cv::COLOR_BGR2GRAY);
  cv::GaussianBlur(grey, grey, {}, 1.5);
  cv::Sobel(grey, gx, CV_32F, 1, 0);
  cv::Sobel(grey, gy, CV_32F, 0, 1);
  cv::magnitude(gx, gy, strength);
  const auto starts = margin::resampled(local.parts[0].outer, 12);
  const auto middle = centroid(local);
  const double reach = 0.4 * std::sqrt(area(local) / CV_PI);
  std::vector<cv::Point> clicks;
  for (const auto& s : starts) {
    const double d = std::max(1.0, distance(s, middle));
    float best = -1;
    cv::Point at;
    for (double t = 1; t < std::min(reach, 0.9 * d); t += 1) {
      const cv::Point p(cvRound(s.x + t * (middle.x - s.x) / d), cvRound(s.y + t * (middle.y - s.y) / d));
      if (p.x < 0 || p.y < 0 || p.x >= strength.cols || p.y >= strength.rows) continue;
      if (strength.at<float>(p) > best) best = strength.at<float>(p), at = p;
    }
    if (best >= 0) clicks.push_back(at);
  }
  cv::Mat mask = cv::Mat::zeros(crop.bgr.size(), CV_8U);
  if (clicks.size() >= 3) {
    cv::segmentation::IntelligentScissorsMB tool;
    tool.setEdgeFeatureCannyParameters(32, 100).setGradientMagnitudeMaxLimit(200);
    tool.applyImage(crop.bgr);
    std::vector<cv::Point> ring;
    for (std::size_t i = 0; i < clicks.size(); ++i) {
      tool.buildMap(clicks[i]);
      std::vector<cv::Point> path;
      tool.getContour(clicks[(i + 1) % clicks.size()], path);
      ring.insert(ring.end(), path.begin(), path.end());
    }
    cv::fillPoly(mask, std::vector<std::vector<cv::Point>>{ring}, 255);
  }
  return back_on_photo(mask, crop, bgr.size());
}

}  // namespace uroko::eval
