#include <algorithm>
#include <boost/math/special_functions/erf.hpp>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "uroko/base/text.h"
#include "uroko/measure/measure.h"
#include "uroko/scale/card.h"

namespace uroko::measure {

namespace {

/// Grey value between pixels, or nothing outside the photo.
double at(const cv::Mat& grey, const cv::Point& origin, double x, double y) {
  x -= origin.x, y -= origin.y;
  const int i = static_cast<int>(std::floor(x)), j = static_cast<int>(std::floor(y));
  if (i < 0 || j < 0 || i + 1 >= grey.cols || j + 1 >= grey.rows) return -1;
  const double u = x - i, v = y - j;
  const auto p = [&](int a, int b) { return static_cast<double>(grey.at<uchar>(j + b, i + a)); };
  return (1 - v) * ((1 - u) * p(0, 0) + u * p(1, 0)) + v * ((1 - u) * p(0, 1) + u * p(1, 1));
}

cv::Rect box_of(const std::vector<ImagePoint>& points, int pad, const cv::Size& size) {
  double low_x = 1e9, high_x = -1e9, low_y = 1e9, high_y = -1e9;
  for (const auto& p : points) {
    low_x = std::min(low_x, p.x), high_x = std::max(high_x, p.x);
    low_y = std::min(low_y, p.y), high_y = std::max(high_y, p.y);
  }
  return cv::Rect(cv::Point(static_cast<int>(low_x) - pad, static_cast<int>(low_y) - pad),
                  cv::Point(static_cast<int>(high_x) + pad, static_cast<int>(high_y) + pad)) &
         cv::Rect({}, size);
}

/// Width of the card's printed edges: distance over which brightness goes from 20 to 80 % along the reference's sides, median of many.
/// A Gaussian blur of sigma spreads a step so over 1.683 sigma.
std::optional<double> blur_sigma_px(const cv::Mat& bgr, const scale::PlaneMap& map) {
  if (map.reference.size() != 4 || map.kind != scale::Kind::card) return std::nullopt;
  const auto box = box_of(map.reference, 20, bgr.size());
  if (box.area() == 0) return std::nullopt;
  cv::Mat grey;
  cv::cvtColor(bgr(box), grey, cv::COLOR_BGR2GRAY);
  const auto middle_of = [](std::vector<double>& v) {
    std::nth_element(v.begin(), v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2), v.end());
    return v[v.size() / 2];
  };
  // Full contrast: the middles of the black squares against the white border around them.
  std::vector<double> dark, light, widths, steps;
  const auto& board = scale::card_layout().board;
  for (int i = 0; i < board.columns; ++i)
    for (int j = 0; j < board.rows; ++j)
      if (!board.holds_marker(i, j)) {
        const auto p = map.to_image({board.x + board.square_mm * (i + 0.5), board.y + board.square_mm * (j + 0.5)});
        dark.push_back(at(grey, box.tl(), p.x, p.y));
      }
  const double right = board.x + board.square_mm * board.columns, bottom = board.y + board.square_mm * board.rows;
  for (double x = board.x; x < right; x += 4) {
    const auto p = map.to_image({x, board.y / 2});
    light.push_back(at(grey, box.tl(), p.x, p.y));
  }
  const double full = middle_of(light) - middle_of(dark);
  if (full < 60) return std::nullopt;
  double reach_px = 0;
  for (double y = board.y + 2; y < bottom - 1; y += 1)
    for (int i = 0; i <= board.columns; ++i) {
      const double x = board.x + board.square_mm * i;
      const auto middle = map.to_image({x, y}), a = map.to_image({x - 1, y}), b = map.to_image({x + 1, y});
      const double reach = distance(a, b) / 2;
      if (reach < 4) return std::nullopt;
      const double dx = (b.x - a.x) / (2 * reach), dy = (b.y - a.y) / (2 * reach);
      std::vector<double> profile;
      for (double d = -reach; d <= reach; d += 0.25) profile.push_back(at(grey, box.tl(), middle.x + d * dx, middle.y + d * dy));
      if (*std::min_element(profile.begin(), profile.end()) < 0) continue;
      const double first = profile.front(), last = profile.back();
      if (std::abs(last - first) < 0.3 * full) continue;
      steps.push_back(std::min(1.0, std::abs(last - first) / full));
      reach_px = reach;
      double from = -1, to = -1;
      for (std::size_t i = 0; i < profile.size(); ++i) {
        const double share = (profile[i] - first) / (last - first);
        if (share < 0.2) from = static_cast<double>(i), to = -1;
        if (share > 0.8 && to < 0) to = static_cast<double>(i);
      }
      if (from >= 0 && to > from) widths.push_back((to - from - 1) * 0.25);
    }
  if (steps.size() < 20) return std::nullopt;
  // Where the blur reaches past a millimetre the step is not whole there: erf(d / (sigma sqrt 2)) of it is.
  const double share = middle_of(steps);
  if (share < 0.93) return reach_px / (std::sqrt(2.0) * boost::math::erf_inv(share));
  if (widths.size() < 20) return std::nullopt;
  return middle_of(widths) / 1.683;
}

}  // namespace

std::vector<Warning> photo_warnings(const cv::Mat& bgr, const scale::PlaneMap& map, const margin::Margin& margin) {
  std::vector<Warning> out;
  if (margin.outline.empty() || bgr.empty()) return out;
  std::vector<ImagePoint> edge;
  for (const auto& part : densified(margin.outline, 2.0).parts) edge.insert(edge.end(), part.outer.begin(), part.outer.end());

  if (const auto sigma = blur_sigma_px(bgr, map)) {
    const double mm = *sigma * map.mm_per_px(centroid(margin.outline));
    // Half a millimetre of blur hides the margin's own detail, and 3 px is what a shaken or unfocused photo shows.
    if (*sigma > 3 || mm > 0.5)
      out.push_back({"blur", "edges are blurred by " + fixed_text(*sigma, 1) + " px (" + fixed_text(mm, 2) +
                                 " mm); hold still, let the camera focus on the wound"});
  }

  const auto box = box_of(edge, 12, bgr.size());
  if (box.area() > 0) {
    cv::Mat hsv;
    cv::cvtColor(bgr(box), hsv, cv::COLOR_BGR2HSV);
    // Clipped and colourless against the neighbourhood: white skin is bright too, so the local median must be clearly darker.
    int under = 0, seen = 0;
    for (const auto& p : edge) {
      const int x = static_cast<int>(std::lround(p.x)) - box.x, y = static_cast<int>(std::lround(p.y)) - box.y;
      if (x < 8 || y < 8 || x + 8 >= hsv.cols || y + 8 >= hsv.rows) continue;
      ++seen;
      const auto& v = hsv.at<cv::Vec3b>(y, x);
      under += v[2] >= 245 && v[1] <= 30;
    }
    if (seen > 0 && under > 0.08 * seen)
      out.push_back({"glare", "highlights lie over " + fixed_text(100.0 * under / seen, 0) +
                                  " % of the margin; shade the wound or turn it to the light and check the margin there"});
  }
  return out;
}

}  // namespace uroko::measure
