#include "scale/lens_from_points.h"

#include <Eigen/Core>
#include <cmath>

#include "uroko/geometry/homography.h"

namespace uroko::scale {

namespace {

/// What the best homography through that lens leaves of the points, undistorted px.
std::optional<Eigen::VectorXd> residual(const Camera& camera, const std::vector<ImagePoint>& seen, const std::vector<PlanePoint>& real) {
  const auto ideal = camera.undistorted(seen);
  const auto fit = fit_homography(ideal, real);
  if (!fit) return std::nullopt;
  const auto back = fit->to_from.inverse();
  Eigen::VectorXd r(2 * static_cast<Eigen::Index>(seen.size()));
  for (std::size_t i = 0; i < seen.size(); ++i) {
    const auto p = back(real[i]);
    r.segment<2>(2 * static_cast<Eigen::Index>(i)) << ideal[i].x - p.x, ideal[i].y - p.y;
  }
  return r;
}

}  // namespace

Camera lens_from_points(const Camera& camera, const std::vector<ImagePoint>& seen, const std::vector<PlanePoint>& real, double noise_px) {
  const double known_u = camera.k1_doubt();
  if (seen.size() < 12 || !(known_u > 0) || !(camera.fx > 0)) return camera;
  const double freedom = 2.0 * static_cast<double>(seen.size()) - 9;
  Camera out = camera;
  // The residual is nearly linear in k1: two rounds of weighted least squares with the known value as one more observation.
  for (int round = 0; round < 2; ++round) {
    const auto with = [&](double step) {
      Camera other = out;
      other.k1 += step;
      return residual(other, seen, real);
    };
    const double step = known_u / 2;
    const auto middle = with(0), up = with(step), down = with(-step);
    if (!middle || !up || !down) return camera;
    const Eigen::VectorXd slope = (*up - *down) / (2 * step);
    const double along = slope.dot(*middle), length2 = slope.squaredNorm();
    const double left = middle->squaredNorm() - (length2 > 0 ? along * along / length2 : 0);
    const double sigma2 = std::max(left / freedom, 1e-6);
    if (std::sqrt(sigma2) > 3 * std::hypot(noise_px, 0.01)) return camera;
    const double weight = length2 / sigma2 + 1 / (known_u * known_u);
    out.k1 += (-along / sigma2 - (out.k1 - camera.k1) / (known_u * known_u)) / weight;
    out.k1_u = std::sqrt(1 / weight);
  }
  return out;
}

}  // namespace uroko::scale
