#pragma once
#include <opencv2/core.hpp>
#include <optional>

#include "uroko/geometry/points.h"

namespace uroko::scale {

/// A ruler's graduations between two picks a and b: graduation count m(l) = m0 + n l (1 + q) / (1 + q l), l = 0 at a and 1 at b
/// (one dimension of a plane seen in perspective; q = z_a / z_b - 1).
struct Graduations {
  double period_mm = 1;
  double m0 = 0;           ///< count at a, the nearest graduation being 0: -0.5 .. 0.5
  double n = 0;            ///< intervals between the picks
  double q = 0;
  double u_n = 0, u_q = 0, cov_nq = 0;  ///< standard uncertainties and covariance
  double coherence = 0;    ///< 0..1: how well the whole length keeps step
  double contrast = 0;     ///< strength of the period over that of other periods
};

/// Looks for graduations on either side of the line. Pixels free of the lens. Nothing where no period keeps step over the whole length.
std::optional<Graduations> find_graduations(const cv::Mat& grey, const ImagePoint& a, const ImagePoint& b, double length_mm, double q_prior_u);

}  // namespace uroko::scale
