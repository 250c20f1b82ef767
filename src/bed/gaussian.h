#pragma once
#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>

#include "uroko/bed/bed.h"

namespace uroko::bed {

/// ln of a Gaussian whose covariance is spread^2 I + (light v)^2, v = (L+16, a, b): Sherman-Morrison and the determinant lemma.
struct Gaussian {
  explicit Gaussian(const TissueColour& c)
      : tissue(static_cast<int>(c.tissue)), mean(static_cast<float>(c.mean.l), static_cast<float>(c.mean.a), static_cast<float>(c.mean.b)) {
    const cv::Vec3f v(mean[0] + 16, mean[1], mean[2]);
    const double s2 = c.spread * c.spread, w2 = c.light * c.light * v.dot(v);
    inverse_spread = static_cast<float>(1 / s2);
    along = v * static_cast<float>(c.light / std::sqrt(s2 * (s2 + w2)));
    constant = static_cast<float>(std::log(c.weight) - 0.5 * (2 * std::log(s2) + std::log(s2 + w2)));
  }
  float distance2(const cv::Vec3f& lab) const {
    const cv::Vec3f d = lab - mean;
    const float p = along.dot(d);
    return std::max(0.0f, d.dot(d) * inverse_spread - p * p);
  }
  int tissue;
  cv::Vec3f mean, along;
  float inverse_spread, constant;
};

}  // namespace uroko::bed
