#pragma once
#include <Eigen/Core>
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

/// A CV_8UC3 picture between its pixels, linearly; beyond its rim, the rim.
cv::Vec3f sample(const cv::Mat& picture, double x, double y);

}  // namespace uroko::margin
