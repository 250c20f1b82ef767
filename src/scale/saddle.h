#pragma once
#include <Eigen/Core>
#include <opencv2/core.hpp>

#include "uroko/geometry/points.h"

namespace uroko::scale {

/// A checkerboard saddle point in a grey picture, by least squares of
///   I(p) = m + g . (p - c) + a E(nu . (p - c) / s) E(nv . (p - c) / s),   E(z) = erf(z / sqrt 2).
/// The pattern is its own point reflection about c, whatever the blur, the ink's spread or the tone curve: c is not biased by them.
struct Saddle {
  bool found = false;
  ImagePoint at;       ///< pixel centres at integers
  double u_px = 0;     ///< standard uncertainty per axis from the fit's residual
  double height = 0;   ///< a, grey levels; its sign says which quadrants are bright
  double blur_px = 0;  ///< s
  double misfit = 0;   ///< weighted rms residual / |a|
};

/// `along_u`, `along_v`: image directions of the two families of board lines at the point (any length); the product is positive
/// in the quadrant between +u and +v. `radius_px`: what is looked at. `origin`: the picture's pixel (0, 0) in photo pixels.
Saddle fit_saddle(const cv::Mat& grey, const cv::Point& origin, const ImagePoint& start, const Eigen::Vector2d& along_u,
                  const Eigen::Vector2d& along_v, double radius_px);

}  // namespace uroko::scale
