#include "uroko/scale/flank.h"

#include <Eigen/Dense>
#include <algorithm>
#include <boost/math/special_functions/ellint_2.hpp>
#include <cmath>

#include "uroko/base/text.h"

namespace uroko::scale {

namespace {

/// Arc length of the ellipse (b sin t, a (1 - cos t)) from 0 to t: Legendre's incomplete integral of the second kind.
double arc_length(double t, double half_height, double half_width) {
  const double ratio = half_width / half_height;
  if (ratio <= 1) return half_height * boost::math::ellint_2(std::sqrt(1 - ratio * ratio), t);
  const double k = std::sqrt(1 - 1 / (ratio * ratio));
  return half_width * (boost::math::ellint_2(k) - boost::math::ellint_2(k, M_PI / 2 - t));
}

Eigen::Matrix2d turned(double angle) {
  Eigen::Matrix2d r;
  r << std::cos(angle), -std::sin(angle), std::sin(angle), std::cos(angle);
  return r;
}

}  // namespace

Result<Flank> Flank::fit(const PlaneMap& map, const FlankSetup& setup) {
  const Refusal impossible{
      "body", "no body of " + number_text(setup.depth_mm) + " x " + number_text(setup.width_mm) + " mm shows its midline there under the reference",
      "check the body's depth and width and the midline, or leave them out"};
  if (!(setup.depth_mm > 0 && setup.width_mm > 0) || !std::isfinite(setup.depth_mm + setup.width_mm))
    return Refusal{"body", "the body's depth and width must be positive", "give both in millimetres"};
  if (!map.pose) return Refusal{"body", "the camera's place is not known from this reference", "use the printed card, or leave the body out"};

  Flank flank;
  flank.camera_ = map.camera;
  flank.half_height_ = setup.depth_mm / 2;
  flank.half_width_ = setup.width_mm / 2;
  const auto& camera = map.camera;
  const auto ray = [&](const ImagePoint& photo) {
    const auto p = camera.undistorted(photo);
    return Eigen::Vector3d((p.x - camera.cx) / camera.fx, (p.y - camera.cy) / camera.fy, 1);
  };

  PlanePoint middle{};
  double low_x = 1e300, high_x = -1e300, low_y = 1e300, high_y = -1e300;
  for (const auto& p : map.reference_mm) {
    low_x = std::min(low_x, p.x), high_x = std::max(high_x, p.x);
    low_y = std::min(low_y, p.y), high_y = std::max(high_y, p.y);
  }
  if (low_x <= high_x) middle = {(low_x + high_x) / 2, (low_y + high_y) / 2};
  const Eigen::Matrix3d& r = map.pose->rotation;
  flank.origin_ = r * Eigen::Vector3d(middle.x, middle.y, 0) + map.pose->translation_mm;
  flank.inward_ = r.col(2);

  // The axis is parallel to the plane that touches the body. With a midline it also lies in the plane of its two lines of sight.
  Eigen::Vector3d sight_normal = Eigen::Vector3d::Zero();
  if (setup.midline) {
    sight_normal = ray(setup.midline->first).cross(ray(setup.midline->second));
    if (!(sight_normal.norm() > 1e-6))
      return Refusal{"body", "the midline's two points are the same", "pick two points far apart along the lateral midline"};
    flank.along_ = sight_normal.cross(flank.inward_);
    if (!(flank.along_.norm() > 1e-9 * sight_normal.norm())) return impossible;
    flank.along_.normalize();
    const bool wide = high_x - low_x >= high_y - low_y;
    if (flank.along_.dot(wide ? r.col(0) : r.col(1)) < 0) flank.along_ = -flank.along_;
  } else {
    flank.along_ = high_x - low_x >= high_y - low_y ? r.col(0) : r.col(1);
  }
  flank.across_ = flank.inward_.cross(flank.along_);
  if (setup.axis_turn != 0) {
    const Eigen::Vector3d along = std::cos(setup.axis_turn) * flank.along_ + std::sin(setup.axis_turn) * flank.across_;
    flank.across_ = std::cos(setup.axis_turn) * flank.across_ - std::sin(setup.axis_turn) * flank.along_;
    flank.along_ = along;
  }
  flank.eye_ = {-flank.origin_.dot(flank.across_), -flank.origin_.dot(flank.inward_)};
  flank.contact_ = {setup.contact_mm, setup.gap_mm};

  const auto place = [&](double t) {
    const double slope = std::atan2(flank.half_width_ * std::sin(t), flank.half_height_ * std::cos(t));
    flank.on_ellipse_ = {flank.half_height_ * std::sin(t), flank.half_width_ * (1 - std::cos(t))};
    flank.ellipse_from_section_ = turned(slope);
    flank.contact_angle_ = t;
  };
  if (!setup.midline) {
    place(setup.contact_angle);
    return flank;
  }
  // Where does the plane touch, so that the midline falls on its line of sight? One unknown, one equation.
  const Eigen::Vector2d sight(sight_normal.dot(flank.across_), sight_normal.dot(flank.inward_));
  const double picked = setup.midline_shift_mm / flank.half_height_;
  const auto miss = [&](double t) {
    place(t);
    const Eigen::Vector2d midline(-setup.midline_shift_mm, flank.half_width_ * (1 - std::sqrt(std::max(0.0, 1 - picked * picked))));
    const Eigen::Vector2d section = flank.ellipse_from_section_.transpose() * (midline - flank.on_ellipse_) + flank.contact_;
    return sight.dot(section - flank.eye_);
  };
  constexpr double kSteepest = 1.35;
  constexpr int kPieces = 54;
  std::optional<double> best;
  for (int i = 0; i < kPieces; ++i) {
    double low = -kSteepest + 2 * kSteepest * i / kPieces, high = low + 2 * kSteepest / kPieces;
    double at_low = miss(low);
    if ((at_low < 0) == (miss(high) < 0)) continue;
    for (int round = 0; round < 60; ++round) {
      const double mid = (low + high) / 2, at_mid = miss(mid);
      if ((at_mid < 0) == (at_low < 0))
        low = mid, at_low = at_mid;
      else
        high = mid;
    }
    if (!best || std::abs(low) < std::abs(*best)) best = low;
  }
  if (!best) return impossible;
  place(*best);
  return flank;
}

std::optional<Flank::Spot> Flank::operator()(const ImagePoint& photo) const {
  const auto p = camera_.undistorted(photo);
  const Eigen::Vector3d ray((p.x - camera_.cx) / camera_.fx, (p.y - camera_.cy) / camera_.fy, 1);
  const Eigen::Vector2d from = ellipse_from_section_ * (eye_ - contact_) + on_ellipse_;
  const Eigen::Vector2d step = ellipse_from_section_ * Eigen::Vector2d(ray.dot(across_), ray.dot(inward_));
  const double py = from.x() / half_height_, pz = from.y() / half_width_ - 1, qy = step.x() / half_height_, qz = step.y() / half_width_;
  const double a = qy * qy + qz * qz, b = py * qy + pz * qz, c = py * py + pz * pz - 1, root = b * b - a * c;
  if (!(root >= 0) || !(a > 0) || c <= 0) return std::nullopt;
  const double k = c / (-b + std::sqrt(root));
  if (!(k > 0)) return std::nullopt;
  const double t = std::atan2(py + k * qy, -(pz + k * qz));
  Spot spot;
  spot.angle = t;
  spot.unrolled = {(k * ray - origin_).dot(along_), arc_length(t, half_height_, half_width_)};
  const Eigen::Vector2d normal = Eigen::Vector2d(-half_width_ * std::sin(t), half_height_ * std::cos(t)).normalized();
  spot.incidence = std::acos(std::clamp(step.dot(normal) / ray.norm(), -1.0, 1.0));
  return spot;
}

std::optional<double> skin_radius_mm(const std::string& site) {
  const std::string word = lower_ascii(site);
  const auto has = [&](const char* part) { return word.find(part) != std::string::npos; };
  // The belly's radius is the back's by the same ellipse.
  if (has("back") || has("dors") || has("belly") || has("ventr") || has("abdom")) return 21;
  if (has("flank") || has("side")) return 130;
  return std::nullopt;
}

double flat_under_reading(double across_mm, double radius_mm, double distance_mm) {
  const double w2 = across_mm * across_mm;
  return w2 / (32 * radius_mm * radius_mm) + w2 / (8 * radius_mm * distance_mm);
}

}  // namespace uroko::scale
