#include "scale/saddle.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

namespace uroko::scale {

namespace {

using Vector7 = Eigen::Matrix<double, 7, 1>;
using Matrix7 = Eigen::Matrix<double, 7, 7>;

struct Normals {
  Eigen::Vector2d u, v;
};

// p: cx, cy, m, a, gx, gy, s. Returns the weighted sum of squares; fills the normal equations where asked.
double evaluate(const cv::Mat& grey, const Vector7& p, const Normals& n, double radius, Matrix7* jtj, Vector7* jtr, double* weights) {
  const int x0 = static_cast<int>(std::ceil(p(0) - radius)), x1 = static_cast<int>(std::floor(p(0) + radius));
  const int y0 = static_cast<int>(std::ceil(p(1) - radius)), y1 = static_cast<int>(std::floor(p(1) + radius));
  if (x0 < 0 || y0 < 0 || x1 >= grey.cols || y1 >= grey.rows) return -1;
  if (jtj) jtj->setZero(), jtr->setZero();
  double sum = 0, weight_sum = 0;
  const double inverse = 1 / p(6), density = std::sqrt(2 / std::numbers::pi);
  for (int y = y0; y <= y1; ++y) {
    const uchar* row = grey.ptr<uchar>(y);
    for (int x = x0; x <= x1; ++x) {
      const double dx = x - p(0), dy = y - p(1), d2 = (dx * dx + dy * dy) / (radius * radius);
      if (d2 >= 1) continue;
      const double w = (1 - d2) * (1 - d2);
      const double zu = (n.u.x() * dx + n.u.y() * dy) * inverse, zv = (n.v.x() * dx + n.v.y() * dy) * inverse;
      const double eu = std::erf(zu * std::numbers::sqrt2 / 2), ev = std::erf(zv * std::numbers::sqrt2 / 2);
      const double r = row[x] - (p(2) + p(4) * dx + p(5) * dy + p(3) * eu * ev);
      sum += w * r * r;
      weight_sum += w;
      if (!jtj) continue;
      const double fu = density * std::exp(-zu * zu / 2) * ev * p(3), fv = density * std::exp(-zv * zv / 2) * eu * p(3);
      Vector7 j;
      j << -(fu * n.u.x() + fv * n.v.x()) * inverse - p(4), -(fu * n.u.y() + fv * n.v.y()) * inverse - p(5), 1, eu * ev, dx, dy,
          -(fu * zu + fv * zv) * inverse;
      jtj->selfadjointView<Eigen::Lower>().rankUpdate(j, w);
      *jtr += w * r * j;
    }
  }
  if (jtj) *jtj = Matrix7(jtj->selfadjointView<Eigen::Lower>());
  if (weights) *weights = weight_sum;
  return sum;
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
  Matrix7 jtj;
  Vector7 jtr;
  double weights = 0;
  double sum = evaluate(grey, p, n, radius_px, &jtj, &jtr, &weights);
  if (sum < 0) return saddle;
  // Level, slope and height are linear: solve them first.
  {
    const Eigen::Matrix4d sub = jtj.block<4, 4>(2, 2);
    p.segment<4>(2) += (sub + 1e-9 * Eigen::Matrix4d::Identity()).ldlt().solve(jtr.segment<4>(2));
    sum = evaluate(grey, p, n, radius_px, &jtj, &jtr, &weights);
  }
  double damping = 1e-3;
  for (int round = 0; round < 40; ++round) {
    Matrix7 damped = jtj;
    damped.diagonal() *= 1 + damping;
    damped.diagonal().array() += 1e-9;
    const Vector7 step = damped.ldlt().solve(jtr);
    Vector7 trial = p + step;
    trial(6) = std::clamp(trial(6), 0.25, radius_px);
    if (std::hypot(trial(0) - (start.x - origin.x), trial(1) - (start.y - origin.y)) > radius_px) return saddle;
    const double trial_sum = evaluate(grey, trial, n, radius_px, nullptr, nullptr, nullptr);
    if (trial_sum < 0) return saddle;
    if (trial_sum <= sum) {
      const bool settled = std::hypot(step(0), step(1)) < 1e-4;
      p = trial;
      sum = evaluate(grey, p, n, radius_px, &jtj, &jtr, &weights);
      if (settled) break;
      damping = std::max(damping / 8, 1e-9);
    } else {
      damping *= 8;
      if (damping > 1e6) break;
    }
  }
  if (!p.allFinite() || !(std::abs(p(3)) > 1e-6)) return saddle;
  const double variance = sum / weights;
  const Matrix7 covariance = (jtj + 1e-9 * Matrix7::Identity()).inverse() * variance;
  saddle.at = {p(0) + origin.x, p(1) + origin.y};
  saddle.u_px = std::sqrt(std::max(0.0, (covariance(0, 0) + covariance(1, 1)) / 2));
  saddle.height = p(3);
  saddle.blur_px = p(6);
  saddle.misfit = std::sqrt(variance) / std::abs(p(3));
  saddle.found = true;
  return saddle;
}

}  // namespace uroko::scale
