#include "scale/saddle.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace uroko::scale {

namespace {

using Vector7 = Eigen::Matrix<double, 7, 1>;
using Matrix7 = Eigen::Matrix<double, 7, 7>;

struct Normals {
  Eigen::Vector2d u, v;
};

/// erf(z / sqrt 2) and its derivative sqrt(2 / pi) exp(-z^2 / 2), which a fit asks for some hundred thousand times: cubic Hermite between knots
/// of step 1/32. Error: step^4 / 384 times the fourth derivative, below 4e-9.
class Edge {
 public:
  static constexpr int per_unit = 32, units = 6;  // beyond 6 both are constant to 2e-9
  Edge() {
    for (int k = 0; k <= per_unit * units + 1; ++k) {
      const double z = static_cast<double>(k) / per_unit;
      const double g = std::sqrt(2 / std::numbers::pi) * std::exp(-z * z / 2);
      knots_[static_cast<std::size_t>(k)] = {std::erf(z * std::numbers::sqrt2 / 2), g / per_unit, g, -z * g / per_unit};
    }
  }
  struct Both {
    double step = 0, slope = 0;
  };
  Both operator()(double z) const {
    const double a = std::abs(z) * per_unit;
    if (!(a < per_unit * units)) return {z < 0 ? -1.0 : 1.0, 0};
    const int k = static_cast<int>(a);
    const double t = a - k, q = 1 - t, h00 = (1 + 2 * t) * q * q, h10 = t * q * q, h01 = t * t * (3 - 2 * t), h11 = -t * t * q;
    const Knot &l = knots_[static_cast<std::size_t>(k)], &r = knots_[static_cast<std::size_t>(k) + 1];
    const double step = h00 * l.step + h10 * l.dstep + h01 * r.step + h11 * r.dstep;
    return {z < 0 ? -step : step, h00 * l.slope + h10 * l.dslope + h01 * r.slope + h11 * r.dslope};
  }

 private:
  struct Knot {
    double step, dstep, slope, dslope;  // derivatives per knot
  };
  std::array<Knot, per_unit * units + 2> knots_{};
};

/// The weighted sum of squares and the normal equations at one place.
struct Sums {
  double sum = -1, weights = 0;  // sum < 0: the window leaves the picture
  Matrix7 jtj;
  Vector7 jtr;
};

// p: cx, cy, m, a, gx, gy, s.
Sums evaluate(const cv::Mat& grey, const Vector7& p, const Normals& n, double radius) {
  static const Edge edge;
  Sums out;
  const int x0 = static_cast<int>(std::ceil(p(0) - radius)), x1 = static_cast<int>(std::floor(p(0) + radius));
  const int y0 = static_cast<int>(std::ceil(p(1) - radius)), y1 = static_cast<int>(std::floor(p(1) + radius));
  if (x0 < 0 || y0 < 0 || x1 >= grey.cols || y1 >= grey.rows) return out;
  double upper[7][7] = {}, right[7] = {};
  double sum = 0, weights = 0;
  const double inverse = 1 / p(6);
  for (int y = y0; y <= y1; ++y) {
    const uchar* row = grey.ptr<uchar>(y);
    for (int x = x0; x <= x1; ++x) {
      const double dx = x - p(0), dy = y - p(1), d2 = (dx * dx + dy * dy) / (radius * radius);
      if (d2 >= 1) continue;
      const double w = (1 - d2) * (1 - d2);
      const double zu = (n.u.x() * dx + n.u.y() * dy) * inverse, zv = (n.v.x() * dx + n.v.y() * dy) * inverse;
      const auto u = edge(zu), v = edge(zv);
      const double r = row[x] - (p(2) + p(4) * dx + p(5) * dy + p(3) * u.step * v.step);
      sum += w * r * r;
      weights += w;
      const double fu = u.slope * v.step * p(3), fv = v.slope * u.step * p(3);
      const double j[7] = {-(fu * n.u.x() + fv * n.v.x()) * inverse - p(4), -(fu * n.u.y() + fv * n.v.y()) * inverse - p(5), 1, u.step * v.step, dx, dy,
                           -(fu * zu + fv * zv) * inverse};
      for (int a = 0; a < 7; ++a) {
        const double wj = w * j[a];
        right[a] += wj * r;
        for (int b = a; b < 7; ++b) upper[a][b] += wj * j[b];
      }
    }
  }
  for (int a = 0; a < 7; ++a) {
    out.jtr(a) = right[a];
    for (int b = a; b < 7; ++b) out.jtj(a, b) = out.jtj(b, a) = upper[a][b];
  }
  out.sum = sum;
  out.weights = weights;
  return out;
}

}  // namespace

Saddle fit_saddle(const cv::Mat& grey, const cv::Point& origin, const ImagePoint& start, const Eigen::Vector2d& along_u,
                  const Eigen::Vector2d& along_v, double radius_px) {
  Saddle saddle;
  const double area = along_u.x() * along_v.y() - along_u.y() * along_v.x();
  if (std::abs(area) < 0.05 * along_u.norm() * along_v.norm()) return saddle;
  // The line along v is where nu . d = 0, with nu towards +u; and the other way round.
  Normals n{Eigen::Vector2d(along_v.y(), -along_v.x()).normalized(), Eigen::Vector2d(-along_u.y(), along_u.x()).normalized()};
  if (n.u.dot(along_u) < 0) n.u = -n.u;
  if (n.v.dot(along_v) < 0) n.v = -n.v;

  Vector7 p;
  p << start.x - origin.x, start.y - origin.y, 128, 0, 0, 0, std::clamp(radius_px / 8, 0.7, 3.0);
  Sums here = evaluate(grey, p, n, radius_px);
  if (here.sum < 0) return saddle;
  // Level, slope and height are linear: solve them first.
  {
    const Eigen::Matrix4d sub = here.jtj.block<4, 4>(2, 2);
    p.segment<4>(2) += (sub + 1e-9 * Eigen::Matrix4d::Identity()).ldlt().solve(here.jtr.segment<4>(2));
    here = evaluate(grey, p, n, radius_px);
  }
  double damping = 1e-3;
  for (int round = 0; round < 40; ++round) {
    Matrix7 damped = here.jtj;
    damped.diagonal() *= 1 + damping;
    damped.diagonal().array() += 1e-9;
    const Vector7 step = damped.ldlt().solve(here.jtr);
    Vector7 trial = p + step;
    trial(6) = std::clamp(trial(6), 0.25, radius_px);
    if (std::hypot(trial(0) - (start.x - origin.x), trial(1) - (start.y - origin.y)) > radius_px) return saddle;
    const Sums there = evaluate(grey, trial, n, radius_px);
    if (there.sum < 0) return saddle;
    if (there.sum <= here.sum) {
      p = trial;
      here = there;
      if (std::hypot(step(0), step(1)) < 1e-4) break;
      damping = std::max(damping / 8, 1e-9);
    } else {
      damping *= 8;
      if (damping > 1e6) break;
    }
  }
  if (!p.allFinite() || !(std::abs(p(3)) > 1e-6)) return saddle;
  const double variance = here.sum / here.weights;
  const Matrix7 covariance = (here.jtj + 1e-9 * Matrix7::Identity()).inverse() * variance;
  saddle.at = {p(0) + origin.x, p(1) + origin.y};
  saddle.u_px = std::sqrt(std::max(0.0, (covariance(0, 0) + covariance(1, 1)) / 2));
  saddle.height = p(3);
  saddle.blur_px = p(6);
  saddle.misfit = std::sqrt(variance) / std::abs(p(3));
  saddle.found = true;
  return saddle;
}

}  // namespace uroko::scale
