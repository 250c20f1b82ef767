#include "uroko/geometry/homography.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace uroko {

namespace {

using Matrix3 = Eigen::Matrix3d;
using Vector8 = Eigen::Matrix<double, 8, 1>;

template <class P>
Matrix3 normaliser(const std::vector<P>& points) {
  double cx = 0, cy = 0, spread = 0;
  for (const auto& p : points) cx += p.x, cy += p.y;
  cx /= static_cast<double>(points.size());
  cy /= static_cast<double>(points.size());
  for (const auto& p : points) spread += std::hypot(p.x - cx, p.y - cy);
  spread /= static_cast<double>(points.size());
  const double s = spread > 0 ? std::sqrt(2.0) / spread : 1;
  Matrix3 t;
  t << s, 0, -s * cx, 0, s, -s * cy, 0, 0, 1;
  return t;
}

Eigen::Vector2d project(const Matrix3& h, double x, double y) {
  const Eigen::Vector3d q = h * Eigen::Vector3d(x, y, 1);
  return q.head<2>() / q.z();
}

Matrix3 from_eight(const Vector8& v) {
  Matrix3 h;
  h << v(0), v(1), v(2), v(3), v(4), v(5), v(6), v(7), 1;
  return h;
}

}  // namespace

template <class From, class To>
Homography<From, To>::Homography(const Eigen::Matrix3d& h) : h_(h) {
  if (std::abs(h_(2, 2)) > 1e-12 * h_.norm()) h_ /= h_(2, 2);
}

template <class From, class To>
To Homography<From, To>::operator()(const From& p) const {
  const auto q = project(h_, p.x, p.y);
  return To{q.x(), q.y()};
}

template <class From, class To>
Eigen::Matrix2d Homography<From, To>::jacobian(const From& p) const {
  const Eigen::Vector3d q = h_ * Eigen::Vector3d(p.x, p.y, 1);
  const double x = q.x() / q.z(), y = q.y() / q.z();
  Eigen::Matrix2d j;
  j << h_(0, 0) - x * h_(2, 0), h_(0, 1) - x * h_(2, 1), h_(1, 0) - y * h_(2, 0), h_(1, 1) - y * h_(2, 1);
  return j / q.z();
}

template <class From, class To>
Homography<To, From> Homography<From, To>::inverse() const {
  return Homography<To, From>(h_.inverse());
}

template <class From, class To>
std::optional<HomographyFit<From, To>> fit_homography(const std::vector<From>& from, const std::vector<To>& to, double sigma_floor) {
  const std::size_t n = from.size();
  if (n < 4 || to.size() != n) return std::nullopt;
  const Matrix3 tf = normaliser(from), tt = normaliser(to);
  // The model maps TO -> FROM (where the noise lives) in normalised units.
  Eigen::MatrixXd a(2 * n, 9);
  std::vector<Eigen::Vector2d> f(n), t(n);
  for (std::size_t i = 0; i < n; ++i) {
    f[i] = project(tf, from[i].x, from[i].y);
    t[i] = project(tt, to[i].x, to[i].y);
    const double x = t[i].x(), y = t[i].y(), u = f[i].x(), v = f[i].y();
    a.row(2 * i) << x, y, 1, 0, 0, 0, -u * x, -u * y, -u;
    a.row(2 * i + 1) << 0, 0, 0, x, y, 1, -v * x, -v * y, -v;
  }
  Eigen::JacobiSVD<Eigen::MatrixXd> svd(a, Eigen::ComputeFullV);
  const auto& values = svd.singularValues();
  // Rank 8 needed: a second vanishing value means collinear or repeated points.
  if (!(values(7) > 1e-7 * values(0))) return std::nullopt;
  Eigen::Matrix<double, 9, 1> v9 = svd.matrixV().col(8);
  if (std::abs(v9(8)) < 1e-9) return std::nullopt;
  Vector8 h = v9.head<8>() / v9(8);

  const auto residuals = [&](const Vector8& p, Eigen::VectorXd& r, Eigen::MatrixXd* j) {
    const Matrix3 m = from_eight(p);
    for (std::size_t i = 0; i < n; ++i) {
      const double x = t[i].x(), y = t[i].y();
      const Eigen::Vector3d q = m * Eigen::Vector3d(x, y, 1);
      const double w = q.z(), u = q.x() / w, v = q.y() / w;
      r(2 * i) = u - f[i].x();
      r(2 * i + 1) = v - f[i].y();
      if (j) {
        j->row(2 * i) << x / w, y / w, 1 / w, 0, 0, 0, -u * x / w, -u * y / w;
        j->row(2 * i + 1) << 0, 0, 0, x / w, y / w, 1 / w, -v * x / w, -v * y / w;
      }
    }
  };
  Eigen::VectorXd r(2 * n), r_new(2 * n);
  Eigen::MatrixXd j(2 * n, 8);
  double lambda = 1e-4;
  residuals(h, r, &j);
  for (int round = 0; round < 30; ++round) {
    const Eigen::Matrix<double, 8, 8> jtj = j.transpose() * j;
    Eigen::Matrix<double, 8, 8> damped = jtj;
    damped.diagonal() += lambda * jtj.diagonal();
    const Vector8 step = damped.ldlt().solve(-j.transpose() * r);
    const Vector8 trial = h + step;
    residuals(trial, r_new, nullptr);
    if (r_new.squaredNorm() < r.squaredNorm()) {
      h = trial;
      lambda = std::max(lambda / 10, 1e-12);
      residuals(h, r, &j);
    } else {
      lambda *= 10;
    }
    if (step.norm() < 1e-12 * h.norm() || lambda > 1e8) break;
  }
  const double from_scale = tf(0, 0);
  HomographyFit<From, To> fit;
  fit.rms = std::sqrt(r.squaredNorm() / static_cast<double>(2 * n)) / from_scale;
  const double freedom = static_cast<double>(2 * n) - 8;
  fit.sigma = std::max(freedom > 0 ? std::sqrt(r.squaredNorm() / freedom) / from_scale : 0.0, sigma_floor);

  const Matrix3 from_to = tf.inverse() * from_eight(h) * tt;
  if (!from_to.allFinite() || std::abs(from_to.determinant()) < 1e-14 * std::pow(from_to.norm(), 3) * 1e-6) return std::nullopt;
  fit.to_from = Homography<From, To>(from_to.inverse());

  // Covariance of the eight entries of TO <- FROM: by the implicit map, numerically (exact to first order).
  const Eigen::Matrix<double, 8, 8> cov_h = (j.transpose() * j).inverse() * std::pow(fit.sigma * from_scale, 2);
  Eigen::Matrix<double, 8, 8> d;
  const auto eight = [&](const Vector8& p) {
    Matrix3 m = (tf.inverse() * from_eight(p) * tt).inverse();
    m /= m(2, 2);
    Vector8 out;
    out << m(0, 0), m(0, 1), m(0, 2), m(1, 0), m(1, 1), m(1, 2), m(2, 0), m(2, 1);
    return out;
  };
  for (int k = 0; k < 8; ++k) {
    const double e = 1e-6 * std::max(1e-3, std::abs(h(k)));
    Vector8 up = h, down = h;
    up(k) += e;
    down(k) -= e;
    d.col(k) = (eight(up) - eight(down)) / (2 * e);
  }
  fit.covariance = d * cov_h * d.transpose();
  return fit;
}

template class Homography<ImagePoint, PlanePoint>;
template class Homography<PlanePoint, ImagePoint>;
template class Homography<ImagePoint, ImagePoint>;
template class Homography<PlanePoint, PlanePoint>;
template std::optional<HomographyFit<ImagePoint, PlanePoint>> fit_homography(const std::vector<ImagePoint>&, const std::vector<PlanePoint>&, double);
template std::optional<HomographyFit<PlanePoint, PlanePoint>> fit_homography(const std::vector<PlanePoint>&, const std::vector<PlanePoint>&, double);

}  // namespace uroko
