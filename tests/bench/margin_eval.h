// Cases, rough loops and figures of merit shared by the margin benchmark's parts.
#pragma once
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numeric>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <string>
#include <vector>

#include "margin/raster.h"
#include "uroko/base/random.h"
#include "uroko/geometry/polygon.h"
#include "uroko/margin/margin.h"

namespace uroko::eval {

struct Case {
  std::string name, stratum;
  cv::Mat bgr, truth;  ///< truth: 255 in the wound
  double radius = 0;   ///< of the circle of the truth's area, px
  ImagePoint point;    ///< the wound's deepest pixel
};

inline cv::Mat largest(const cv::Mat& mask) {
  cv::Mat labels, stats, centres;
  const int n = cv::connectedComponentsWithStats(mask, labels, stats, centres, 8);
  int best = 0;
  for (int i = 1; i < n; ++i)
    if (!best || stats.at<int>(i, cv::CC_STAT_AREA) > stats.at<int>(best, cv::CC_STAT_AREA)) best = i;
  return best ? cv::Mat(labels == best) : cv::Mat::zeros(mask.size(), CV_8U);
}

/// The largest part of the mask as the wound; nothing when it is smaller than 80 pixels.
inline bool make_case(Case& c, const std::string& name, const cv::Mat& bgr, const cv::Mat& mask) {
  c.name = name;
  c.bgr = bgr;
  c.truth = largest(mask > 127);
  const int n = cv::countNonZero(c.truth);
  if (n < 80) return false;
  c.radius = std::sqrt(n / CV_PI);
  cv::Mat padded, depth;
  cv::copyMakeBorder(c.truth, padded, 1, 1, 1, 1, cv::BORDER_CONSTANT, 0);
  cv::distanceTransform(padded, depth, cv::DIST_L2, 5);
  cv::Point at;
  cv::minMaxLoc(depth, nullptr, nullptr, nullptr, &at);
  c.point = {at.x - 1.0, at.y - 1.0};
  return true;
}

/// A hand's rough loop: on average `looseness` of the wound's radius outside, wavering by a quarter of that, with about 18 corners.
inline ImageOutline rough_loop(const Case& c, double looseness, std::uint64_t seed) {
  Random random(seed);
  const double reach = c.radius * looseness;
  const int pad = static_cast<int>(2 * reach) + 4;
  cv::Mat wide, away;
  cv::copyMakeBorder(c.truth, wide, pad, pad, pad, pad, cv::BORDER_CONSTANT, 0);
  cv::distanceTransform(~wide, away, cv::DIST_L2, 5);
  // A wavering of low angular frequency about the wound's middle.
  double a[4], phase[4];
  for (int k = 0; k < 4; ++k) a[k] = random.normal(0, 0.25 / std::sqrt(2.0)), phase[k] = random.uniform(0, 2 * CV_PI);
  const cv::Moments m = cv::moments(wide, true);
  const double cx = m.m10 / m.m00, cy = m.m01 / m.m00;
  cv::Mat level(away.size(), CV_32F);
  for (int y = 0; y < away.rows; ++y)
    for (int x = 0; x < away.cols; ++x) {
      const double t = std::atan2(y - cy, x - cx);
      double g = 1;
      for (int k = 0; k < 4; ++k) g += a[k] * std::cos((k + 1) * t + phase[k]);
      level.at<float>(y, x) = static_cast<float>(reach * std::clamp(g, 0.4, 1.8)) - away.at<float>(y, x);
    }
  auto ring = margin::outline_at(level, 0.f, 4).parts.front().outer;
  ring = margin::resampled(ring, 18);
  for (auto& p : ring) p = {p.x - pad, p.y - pad};
  ImageOutline loop{{{ring, {}}}};
  if (find_fault(loop)) loop = made_valid(loop);
  loop.parts.resize(1);
  return loop;
}

/// A careless loop: the wound's convex hull, blown up about its middle by `looseness`, cut to a dozen corners.
inline ImageOutline hull_loop(const Case& c, double looseness) {
  std::vector<std::vector<cv::Point>> contours;
  cv::findContours(c.truth.clone(), contours, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
  std::vector<cv::Point> all, hull;
  for (const auto& k : contours) all.insert(all.end(), k.begin(), k.end());
  cv::convexHull(all, hull);
  Ring<ImagePoint> ring;
  for (const auto& p : hull) ring.push_back({static_cast<double>(p.x), static_cast<double>(p.y)});
  const auto middle = centroid(ImageOutline{{{ring, {}}}});
  for (auto& p : ring) p = {middle.x + (1 + looseness) * (p.x - middle.x), middle.y + (1 + looseness) * (p.y - middle.y)};
  return {{{margin::resampled(ring, 12), {}}}};
}

/// The least ellipse-shaped loop of the wound's second moments that holds all of it, blown up by `looseness` of the wound's radius.
inline ImageOutline ellipse_loop(const Case& c, double looseness) {
  const cv::Moments m = cv::moments(c.truth, true);
  const double cx = m.m10 / m.m00, cy = m.m01 / m.m00, a = m.mu20 / m.m00, b = m.mu11 / m.m00, d = m.mu02 / m.m00;
  const double angle = 0.5 * std::atan2(2 * b, a - d), mean = (a + d) / 2, diff = std::hypot((a - d) / 2, b);
  const double p = std::sqrt(mean + diff), q = std::sqrt(std::max(0.5, mean - diff)), co = std::cos(angle), si = std::sin(angle);
  double k = 0;
  for (int y = 0; y < c.truth.rows; ++y)
    for (int x = 0; x < c.truth.cols; ++x)
      if (c.truth.at<uchar>(y, x)) k = std::max(k, std::hypot(((x - cx) * co + (y - cy) * si) / p, (-(x - cx) * si + (y - cy) * co) / q));
  Ring<ImagePoint> ring;
  for (int i = 0; i < 24; ++i) {
    const double u = (k * p + looseness * c.radius) * std::cos(2 * CV_PI * i / 24), v = (k * q + looseness * c.radius) * std::sin(2 * CV_PI * i / 24);
    ring.push_back({cx + u * co - v * si, cy + u * si + v * co});
  }
  return {{{ring, {}}}};
}

inline cv::Mat mask_of(const ImageOutline& outline, const cv::Size& size) { return margin::filled(outline, size); }

/// Standard uncertainty of the area in px2 from the margin's own doubt.
inline double area_u(const margin::Margin& m) {
  const double length = perimeter(m.outline);
  double d2 = 0;
  for (const double d : m.doubt_px) d2 += d * d / static_cast<double>(m.doubt_px.size());
  return std::sqrt(std::pow(m.common_px * length, 2) + d2 * m.correlation_px * length);
}

struct Scores {
  std::vector<double> dice, area_error, boundary_px;
  int refused = 0;
  void add(const Case& c, const cv::Mat& mask, double area_px = -1) {
    const double t = cv::countNonZero(c.truth), f = cv::countNonZero(mask), both = cv::countNonZero(mask & c.truth);
    dice.push_back(2 * both / (t + f));
    area_error.push_back(((area_px >= 0 ? area_px : f) - t) / t);
    // Mean distance between the two boundaries, both ways.
    const auto rim = [](const cv::Mat& m) {
      cv::Mat e;
      cv::erode(m, e, cv::getStructuringElement(cv::MORPH_CROSS, {3, 3}), {-1, -1}, 1, cv::BORDER_CONSTANT, 0);
      return cv::Mat(m & ~e);
    };
    if (f == 0) {
      boundary_px.push_back(c.radius);
      return;
    }
    const cv::Mat ra = rim(c.truth), rb = rim(mask);
    cv::Mat da, db;
    cv::distanceTransform(~ra, da, cv::DIST_L2, 5);
    cv::distanceTransform(~rb, db, cv::DIST_L2, 5);
    boundary_px.push_back((cv::mean(da, rb)[0] + cv::mean(db, ra)[0]) / 2);
  }
  void refuse(const Case& c) {
    ++refused;
    dice.push_back(0);
    area_error.push_back(-1);
    boundary_px.push_back(c.radius);
  }
  static double quantile(std::vector<double> v, double q) {
    if (v.empty()) return 0;
    std::sort(v.begin(), v.end());
    const double at = q * static_cast<double>(v.size() - 1);
    const auto i = static_cast<std::size_t>(at);
    return i + 1 < v.size() ? v[i] + (at - static_cast<double>(i)) * (v[i + 1] - v[i]) : v[i];
  }
  double mean_dice() const { return std::accumulate(dice.begin(), dice.end(), 0.0) / static_cast<double>(std::max<std::size_t>(1, dice.size())); }
  double bias() const {
    return std::accumulate(area_error.begin(), area_error.end(), 0.0) / static_cast<double>(std::max<std::size_t>(1, area_error.size()));
  }
  double median_area() const {
    auto v = area_error;
    for (auto& x : v) x = std::abs(x);
    return quantile(v, 0.5);
  }
  double mean_boundary() const {
    return std::accumulate(boundary_px.begin(), boundary_px.end(), 0.0) / static_cast<double>(std::max<std::size_t>(1, boundary_px.size()));
  }
};

}  // namespace uroko::eval
