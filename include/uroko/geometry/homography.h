#pragma once
#include <Eigen/Core>
#include <optional>
#include <vector>

#include "uroko/geometry/points.h"

namespace uroko {

/// A projective map between two planes: target = H (x, y, 1)^T, dehomogenised.
template <class From, class To>
class Homography {
 public:
  Homography() : h_(Eigen::Matrix3d::Identity()) {}
  /// Precondition: finite, not singular. Scaled so that h(2,2) = 1 where that is not near zero.
  explicit Homography(const Eigen::Matrix3d& h);
  const Eigen::Matrix3d& matrix() const { return h_; }
  To operator()(const From& p) const;
  /// d(to.x, to.y) / d(from.x, from.y).
  Eigen::Matrix2d jacobian(const From& p) const;
  Homography<To, From> inverse() const;

 private:
  Eigen::Matrix3d h_;
};

/// A homography fitted to pairs, with the covariance of its first eight entries (row by row, h22 = 1).
template <class From, class To>
struct HomographyFit {
  Homography<From, To> to_from;
  Eigen::Matrix<double, 8, 8> covariance;  ///< for noise sigma = `sigma` in the FROM points
  double rms = 0;                          ///< residual in the FROM plane's unit, per axis
  double sigma = 0;                        ///< per-axis noise estimated from the residual, or as given when exact (4 pairs)
};

/// Least squares of the residual measured in the FROM plane (normalised DLT, then Levenberg-Marquardt; Hartley & Zisserman ch. 4).
/// Nothing for fewer than four pairs or a degenerate set. `sigma_floor`: least per-axis noise assumed, in FROM units.
template <class From, class To>
std::optional<HomographyFit<From, To>> fit_homography(const std::vector<From>& from, const std::vector<To>& to, double sigma_floor = 0);

}  // namespace uroko
