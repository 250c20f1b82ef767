#pragma once
#include <Eigen/Core>
#include <algorithm>
#include <opencv2/core.hpp>
#include <vector>

#include "uroko/geometry/polygon.h"

namespace uroko::margin {

/// A value at every node of a ring and every offset across it.
struct Grid {
  int n = 0, m = 0;  ///< nodes, offsets
  std::vector<float> v;
  float& at(int i, int k) { return v[static_cast<std::size_t>(i * m + k)]; }
  float at(int i, int k) const { return v[static_cast<std::size_t>(i * m + k)]; }
  Grid(int nodes, int offsets) : n(nodes), m(offsets), v(static_cast<std::size_t>(nodes * offsets), 0.f) {}
};

/// The cheapest closed path through a cost a state, and each node's posterior (in states).
struct Chain {
  std::vector<int> path;
  std::vector<double> mean, sd;
};

/// Dynamic programming over two rounds of the ring, and sums forward and backward over the same chain. `jump`: price by the size of a step between neighbours;
/// longer steps are not made.
Chain solve(const Grid& cost, const std::vector<float>& jump);

/// Unit normals that point out of the ring, from four neighbours each way.
std::vector<Eigen::Vector2d> outward_normals(const Ring<ImagePoint>& ring);

/// A picture of `Pixel`s between them, linearly; beyond its rim, the rim.
template <class Wide, class Pixel>
Wide sample(const cv::Mat& picture, double x, double y) {
  x = std::clamp(x, 0.0, picture.cols - 1.0);
  y = std::clamp(y, 0.0, picture.rows - 1.0);
  const int x0 = std::min(static_cast<int>(x), std::max(0, picture.cols - 2)), y0 = std::min(static_cast<int>(y), std::max(0, picture.rows - 2));
  const int x1 = std::min(x0 + 1, picture.cols - 1), y1 = std::min(y0 + 1, picture.rows - 1);
  const float fx = static_cast<float>(x - x0), fy = static_cast<float>(y - y0);
  const auto *a = picture.ptr<Pixel>(y0), *b = picture.ptr<Pixel>(y1);
  return (1 - fy) * ((1 - fx) * Wide(a[x0]) + fx * Wide(a[x1])) + fy * ((1 - fx) * Wide(b[x0]) + fx * Wide(b[x1]));
}

}  // namespace uroko::margin
