#include <Eigen/Dense>
#include <cmath>

#include "scale/warnings.h"
#include "uroko/base/text.h"
#include "uroko/scale/references.h"

namespace uroko::scale {

double area_scale_u(const PlaneMap& map, const ImagePoint& at) {
  const ImagePoint p = map.camera.undistorted(at);
  const Eigen::Matrix3d& h = map.plane_from_ideal.matrix();
  // ln |det J| = ln |det H| - 3 ln |w|, w = h20 x + h21 y + h22.
  const double w = h(2, 0) * p.x + h(2, 1) * p.y + h(2, 2);
  const Eigen::Matrix3d inverse = h.inverse();
  Eigen::Matrix<double, 8, 1> gradient;
  for (int k = 0; k < 8; ++k) gradient(k) = inverse(k % 3, k / 3);
  gradient(6) -= 3 * p.x / w;
  gradient(7) -= 3 * p.y / w;
  return std::hypot(std::sqrt(std::max(0.0, gradient.dot(map.covariance * gradient))), 2 * map.scale_relative_u);
}

std::optional<Warning> disagreement(const PlaneMap& a, const PlaneMap& b, const ImagePoint& at) {
  const double difference = 2 * std::log(a.mm_per_px(at) / b.mm_per_px(at));
  const double u = std::hypot(area_scale_u(a, at), area_scale_u(b, at));
  if (std::abs(difference) <= 3 * u) return std::nullopt;
  return warning("references-disagree", std::string("the ") + name(a.kind) + " and the " + name(b.kind) + " give areas " + fixed_text(100 * std::abs(difference), 1) +
                                            " % apart here, more than their uncertainties allow; check the sizes given and that both lie level with the wound");
}

}  // namespace uroko::scale
