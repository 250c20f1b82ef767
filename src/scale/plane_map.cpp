#include "uroko/scale/plane_map.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "uroko/geometry/polygon.h"

namespace uroko::scale {

const char* name(Kind kind) {
  switch (kind) {
    case Kind::card: return "card";
    case Kind::ruler: return "ruler";
    case Kind::disc: return "disc";
    case Kind::rectangle: return "rectangle";
    case Kind::board: return "board";
  }
  return "card";
}

ImagePoint PlaneMap::to_image(const PlanePoint& p) const { return camera.distorted(plane_from_ideal.inverse()(p)); }

double PlaneMap::mm_per_px(const ImagePoint& p) const {
  const double homography = std::abs(plane_from_ideal.jacobian(camera.undistorted(p)).determinant());
  double lens = 1;
  if (camera.distorts()) {
    constexpr double e = 0.5;
    const auto l = camera.undistorted({p.x - e, p.y}), r = camera.undistorted({p.x + e, p.y});
    const auto u = camera.undistorted({p.x, p.y - e}), d = camera.undistorted({p.x, p.y + e});
    lens = std::abs((r.x - l.x) * (d.y - u.y) - (r.y - l.y) * (d.x - u.x)) / (4 * e * e);
  }
  return std::sqrt(homography * lens);
}

PlaneOutline PlaneMap::to_plane(const ImageOutline& outline, double step_px) const {
  const std::function<PlanePoint(const ImagePoint&)> map = [this](const ImagePoint& p) { return to_plane(p); };
  // A homography keeps straight edges straight; only a lens bends them.
  return mapped<ImagePoint, PlanePoint>(camera.distorts() ? densified(outline, step_px) : outline, map);
}

namespace {

using Vector6 = Eigen::Matrix<double, 6, 1>;
using Vector8 = Eigen::Matrix<double, 8, 1>;
using Matrix8 = Eigen::Matrix<double, 8, 8>;

Eigen::Matrix3d rotation_of(const Eigen::Vector3d& w) {
  const double angle = w.norm();
  if (angle < 1e-15) return Eigen::Matrix3d::Identity();
  return Eigen::AngleAxisd(angle, w / angle).toRotationMatrix();
}

/// Four points of the plane that span the reference.
std::vector<PlanePoint> spanning(const PlaneMap& map) {
  if (map.reference_mm.size() == 4) return map.reference_mm;
  // Around the principal point at the plane's own scale, where the reference is not four corners.
  const ImagePoint c = map.reference.empty() ? ImagePoint{map.camera.cx, map.camera.cy} : map.reference.front();
  const double s = 0.05 * map.camera.fx;
  std::vector<PlanePoint> out;
  for (const auto& p : {ImagePoint{c.x - s, c.y - s}, ImagePoint{c.x + s, c.y - s}, ImagePoint{c.x + s, c.y + s}, ImagePoint{c.x - s, c.y + s}})
    out.push_back(map.to_plane(p));
  return out;
}

struct Fitted {
  Pose pose;
  Eigen::Matrix<double, 6, 6> covariance;  // left rotation increment, translation
};

std::optional<Fitted> fit_pose(const Homography<ImagePoint, PlanePoint>& plane_from_ideal, const Matrix8& covariance, const Camera& camera,
                               const std::vector<PlanePoint>& corners) {
  const Eigen::Matrix3d from_plane = plane_from_ideal.matrix().inverse();
  if (!from_plane.allFinite() || camera.fx <= 0 || camera.fy <= 0) return std::nullopt;
  Eigen::Matrix3d k;
  k << camera.fx, 0, camera.cx, 0, camera.fy, camera.cy, 0, 0, 1;
  // Zhang 2000, IEEE TPAMI 22(11):1330, section 3.1.
  const Eigen::Matrix3d b = k.inverse() * from_plane;
  const double lambda = std::sqrt(b.col(0).norm() * b.col(1).norm());
  if (!(lambda > 0) || !std::isfinite(lambda)) return std::nullopt;
  const double sign = (b.col(2) + b.col(0) * corners[0].x + b.col(1) * corners[0].y).z() < 0 ? -1 : 1;
  Eigen::Matrix3d r;
  r.col(0) = sign * b.col(0) / lambda;
  r.col(1) = sign * b.col(1) / lambda;
  r.col(2) = r.col(0).cross(r.col(1));
  const Eigen::JacobiSVD<Eigen::Matrix3d> svd(r, Eigen::ComputeFullU | Eigen::ComputeFullV);
  r = svd.matrixU() * svd.matrixV().transpose();
  if (r.determinant() < 0) return std::nullopt;
  Eigen::Vector3d t = sign * b.col(2) / lambda;

  // Least squares in the image, weighted by what the homography's covariance says of the four corners there.
  Vector8 seen;
  Eigen::Matrix<double, 8, 8> j_h = Eigen::Matrix<double, 8, 8>::Zero();
  const Eigen::Matrix3d& h = plane_from_ideal.matrix();
  for (int i = 0; i < 4; ++i) {
    const Eigen::Vector3d q = from_plane * Eigen::Vector3d(corners[i].x, corners[i].y, 1);
    const double x = q.x() / q.z(), y = q.y() / q.z();
    seen.segment<2>(2 * i) << x, y;
    const double w = h(2, 0) * x + h(2, 1) * y + h(2, 2);
    Eigen::Matrix<double, 2, 8> d;  // of the plane point by the entries
    d << x, y, 1, 0, 0, 0, -corners[i].x * x, -corners[i].x * y, 0, 0, 0, x, y, 1, -corners[i].y * x, -corners[i].y * y;
    j_h.middleRows<2>(2 * i) = plane_from_ideal.jacobian({x, y}).inverse() * d / w;
  }
  Matrix8 seen_covariance = j_h * covariance * j_h.transpose();
  const double mean_variance = std::max(seen_covariance.trace() / 8, 1e-8);
  seen_covariance += 1e-6 * mean_variance * Matrix8::Identity();
  const Matrix8 weight = seen_covariance.inverse();
  if (!weight.allFinite()) return std::nullopt;

  Fitted fitted;
  const auto residual = [&](const Eigen::Matrix3d& rr, const Eigen::Vector3d& tt, Vector8& e, Eigen::Matrix<double, 8, 6>* j) {
    for (int i = 0; i < 4; ++i) {
      const Eigen::Vector3d turned = rr * Eigen::Vector3d(corners[i].x, corners[i].y, 0), p = turned + tt;
      e.segment<2>(2 * i) << camera.fx * p.x() / p.z() + camera.cx - seen(2 * i), camera.fy * p.y() / p.z() + camera.cy - seen(2 * i + 1);
      if (!j) continue;
      Eigen::Matrix<double, 2, 3> dp;
      dp << camera.fx / p.z(), 0, -camera.fx * p.x() / (p.z() * p.z()), 0, camera.fy / p.z(), -camera.fy * p.y() / (p.z() * p.z());
      Eigen::Matrix3d cross;
      cross << 0, turned.z(), -turned.y(), -turned.z(), 0, turned.x(), turned.y(), -turned.x(), 0;  // -[turned]x
      j->block<2, 3>(2 * i, 0) = dp * cross;
      j->block<2, 3>(2 * i, 3) = dp;
    }
  };
  Vector8 e, e_trial;
  Eigen::Matrix<double, 8, 6> j;
  double damping = 1e-6;
  residual(r, t, e, &j);
  for (int round = 0; round < 60; ++round) {
    Eigen::Matrix<double, 6, 6> normal = j.transpose() * weight * j;
    normal.diagonal() *= 1 + damping;
    const Vector6 step = normal.ldlt().solve(-j.transpose() * weight * e);
    if (!step.allFinite()) return std::nullopt;
    const Eigen::Matrix3d r_trial = rotation_of(step.head<3>()) * r;
    const Eigen::Vector3d t_trial = t + step.tail<3>();
    residual(r_trial, t_trial, e_trial, nullptr);
    if (e_trial.dot(weight * e_trial) <= e.dot(weight * e)) {
      r = r_trial, t = t_trial;
      residual(r, t, e, &j);
      damping = std::max(damping / 10, 1e-12);
      if (step.head<3>().norm() < 1e-10 && step.tail<3>().norm() < 1e-8 * t.norm()) break;
    } else {
      damping *= 10;
      if (damping > 1e8) break;
    }
  }
  if (!r.allFinite() || !t.allFinite() || t.z() <= 0) return std::nullopt;
  fitted.pose.rotation = r;
  fitted.pose.translation_mm = t;
  fitted.covariance = (j.transpose() * weight * j).inverse();
  return fitted;
}

double tilt_of(const Pose& pose) { return std::acos(std::clamp(std::abs(pose.rotation(2, 2)), 0.0, 1.0)) * 180 / std::numbers::pi; }

}  // namespace

void find_pose(PlaneMap& map) {
  map.pose.reset();
  const auto corners = spanning(map);
  const auto fitted = fit_pose(map.plane_from_ideal, map.covariance, map.camera, corners);
  if (!fitted) return;
  map.pose = fitted->pose;
  map.tilt_deg = tilt_of(fitted->pose);
  // Rotation noise of the normal; near zero tilt the tilt itself is a Rayleigh-like length, so its noise is what stands in for it.
  const Eigen::Vector3d n = fitted->pose.rotation.col(2);
  Eigen::Vector3d axis = Eigen::Vector3d::UnitZ().cross(n);
  if (axis.norm() < 1e-6) axis = Eigen::Vector3d::UnitX();
  axis.normalize();
  double variance = axis.dot(fitted->covariance.topLeftCorner<3, 3>() * axis);
  Camera other = map.camera;
  other.fx *= 1 + map.camera.focal_relative_u;
  other.fy *= 1 + map.camera.focal_relative_u;
  double focal = 0;
  if (const auto longer = fit_pose(map.plane_from_ideal, map.covariance, other, corners)) focal = tilt_of(longer->pose) - map.tilt_deg;
  map.tilt_u_deg = std::hypot(std::sqrt(std::max(variance, 0.0)) * 180 / std::numbers::pi, focal);
}

}  // namespace uroko::scale
