#pragma once
#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <functional>

#include "uroko/scale/plane_map.h"

namespace uroko::scale {

/// Sets the map's homography and its covariance from a few parameters of known covariance: first order, derivatives by central differences
/// of `step` each.
inline void set_from_parameters(PlaneMap& map, const std::function<Eigen::Matrix3d(const Eigen::VectorXd&)>& plane_from_ideal,
                                const Eigen::VectorXd& parameters, const Eigen::MatrixXd& covariance, const Eigen::VectorXd& step) {
  const auto eight = [&](const Eigen::VectorXd& p) {
    Eigen::Matrix3d h = plane_from_ideal(p);
    h /= h(2, 2);
    Eigen::Matrix<double, 8, 1> out;
    out << h(0, 0), h(0, 1), h(0, 2), h(1, 0), h(1, 1), h(1, 2), h(2, 0), h(2, 1);
    return out;
  };
  Eigen::MatrixXd j(8, parameters.size());
  for (Eigen::Index k = 0; k < parameters.size(); ++k) {
    Eigen::VectorXd up = parameters, down = parameters;
    up(k) += step(k);
    down(k) -= step(k);
    j.col(k) = (eight(up) - eight(down)) / (2 * step(k));
  }
  map.plane_from_ideal = Homography<ImagePoint, PlanePoint>(plane_from_ideal(parameters));
  map.covariance = j * covariance * j.transpose();
}

}  // namespace uroko::scale
