// Corrective strokes by two rules, both in the largest wrong region, which a person would see first.
#pragma once
#include <functional>
#include <queue>

#include "bench/margin_eval.h"

namespace uroko::eval {

/// A stroke, and the place whose side of the true margin it speaks of.
struct Line {
  margin::Stroke stroke;
  cv::Point at;
};

/// A straight line along a region's main axis through its deepest place, inside it: 0.7 of the way to either side.
inline Line straight_line(const cv::Mat& region) {
  cv::Mat depth;
  cv::distanceTransform(region, depth, cv::DIST_L2, 5);
  cv::Point at;
  cv::minMaxLoc(depth, nullptr, nullptr, nullptr, &at);
  const cv::Moments m = cv::moments(region, true);
  const double angle = 0.5 * std::atan2(2 * m.mu11, m.mu20 - m.mu02);
  margin::Stroke stroke;
  const auto ends = [&](int sign) {
    double t = 0;
    while (true) {
      const cv::Point p(cvRound(at.x + sign * (t + 1) * std::cos(angle)), cvRound(at.y + sign * (t + 1) * std::sin(angle)));
      if (p.x < 0 || p.y < 0 || p.x >= region.cols || p.y >= region.rows || !region.at<uchar>(p)) break;
      ++t;
    }
    return sign * 0.7 * t;
  };
  const double a = ends(-1), b = ends(1);
  const int pieces = std::max(1, static_cast<int>((b - a) / 4));
  for (int k = 0; k <= pieces; ++k) {
    const double t = a + (b - a) * k / pieces;
    stroke.push_back({at.x + t * std::cos(angle), at.y + t * std::sin(angle)});
  }
  return {stroke, at};
}

/// The line through a region's middle from end to end: the path between the two places that are furthest apart within it on which a step costs less the
/// deeper it lies (Dijkstra 1959, Numer Math 1:269), kept from where it first is half as deep as the deepest place.
inline Line middle_line(const cv::Mat& region) {
  cv::Mat depth;
  cv::distanceTransform(region, depth, cv::DIST_L2, 5);
  cv::Point deepest;
  cv::minMaxLoc(depth, nullptr, nullptr, nullptr, &deepest);
  // The last place reached; `back`: the step to where each was reached from, with steps that cost less where it is deep.
  const auto walk = [&](const cv::Point& from, cv::Mat* back) {
    cv::Mat cost(region.size(), CV_32F, cv::Scalar(1e30));
    using Place = std::pair<float, std::pair<int, int>>;
    std::priority_queue<Place, std::vector<Place>, std::greater<>> queue;
    cost.at<float>(from) = 0;
    queue.push({0.f, {from.x, from.y}});
    cv::Point last = from;
    while (!queue.empty()) {
      const auto [so_far, place] = queue.top();
      queue.pop();
      const cv::Point p(place.first, place.second);
      if (so_far > cost.at<float>(p)) continue;
      last = p;
      for (int k = 0; k < 9; ++k) {
        const cv::Point step(k % 3 - 1, k / 3 - 1), q = p + step;
        if (k == 4 || !cv::Rect({}, region.size()).contains(q) || !region.at<uchar>(q)) continue;
        const float d = depth.at<float>(q), reached = so_far + static_cast<float>(cv::norm(step)) * (back ? 1 / (d * d) : 1);
        if (reached >= cost.at<float>(q)) continue;
        cost.at<float>(q) = reached;
        if (back) back->at<cv::Vec2s>(q) = {static_cast<short>(-step.x), static_cast<short>(-step.y)};
        queue.push({reached, {q.x, q.y}});
      }
    }
    return last;
  };
  const cv::Point a = walk(deepest, nullptr), b = walk(a, nullptr);
  cv::Mat back(region.size(), CV_16SC2, cv::Scalar::all(0));
  walk(a, &back);
  std::vector<cv::Point> path{b};
  while (path.back() != a) {
    const auto step = back.at<cv::Vec2s>(path.back());
    path.emplace_back(path.back().x + step[0], path.back().y + step[1]);
  }
  const auto deep = [&](const cv::Point& p) { return depth.at<float>(p) >= 0.5f * depth.at<float>(deepest); };
  const auto first = std::find_if(path.begin(), path.end(), deep), end = std::find_if(path.rbegin(), path.rend(), deep).base();
  margin::Stroke stroke;
  for (auto it = first; it < end; it += std::min<long>(3, end - it)) stroke.push_back({static_cast<double>(it->x), static_cast<double>(it->y)});
  if (stroke.empty()) stroke.push_back({static_cast<double>(deepest.x), static_cast<double>(deepest.y)});
  return {stroke, cv::Point(static_cast<int>(stroke.front().x), static_cast<int>(stroke.front().y))};
}

/// What a person would draw along the largest wrong region by `line`. Nothing when no region is larger than 8 px.
struct Correction {
  std::vector<margin::Stroke> keep, drop;
};
inline Correction correction(const Case& c, const cv::Mat& found, Line (*line)(const cv::Mat&)) {
  Correction out;
  const cv::Mat wrong = largest(found != c.truth);
  if (cv::countNonZero(wrong) < 8) return out;
  const auto drawn = line(wrong);
  (c.truth.at<uchar>(drawn.at) ? out.keep : out.drop).push_back(drawn.stroke);
  return out;
}

}  // namespace uroko::eval
