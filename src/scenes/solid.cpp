#include "solid.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "uroko/scale/card.h"

namespace uroko::scenes {

namespace {

constexpr int kSteps = 4096;  // of the quarter arc; linear interpolation of s then errs by less than 1e-5 mm on a koi
constexpr double kRight = M_PI / 2;

}  // namespace

Solid::Solid(const Scene& scene) : scene_(scene) {
  if (scene.flank) {
    half_height_ = scene.flank->depth_mm / 2;
    half_width_ = scene.flank->width_mm / 2;
    if (!(half_height_ > 0 && half_width_ > 0)) throw std::invalid_argument("a flank needs positive depth and width");
    arc_.resize(kSteps + 1);
    const auto speed = [&](double t) { return std::hypot(half_height_ * std::cos(t), half_width_ * std::sin(t)); };
    const double h = kRight / kSteps;
    for (int i = 0; i < kSteps; ++i) {
      const double t = i * h;
      arc_[i + 1] = arc_[i] + h / 6 * (speed(t) + 4 * speed(t + h / 2) + speed(t + h));
    }
  }
  const View& view = scene.view;
  if (!(view.distance_mm > 0) || view.camera.fx <= 0 || view.camera.fy <= 0) throw std::invalid_argument("the view needs a camera and a distance");
  const Frame aim = frame(view.aim);
  Eigen::Matrix3d facing;
  facing.row(0) = aim.along.transpose();
  facing.row(1) = aim.around.transpose();
  facing.row(2) = aim.inward.transpose();
  const double azimuth = view.azimuth_deg * M_PI / 180;
  // Turning about this axis moves the azimuth's side of the skin away from the camera.
  const Eigen::Vector3d axis(std::sin(azimuth), -std::cos(azimuth), 0);
  const Eigen::Matrix3d tilt = Eigen::AngleAxisd(view.tilt_deg * M_PI / 180, axis).toRotationMatrix();
  const Eigen::Matrix3d roll = Eigen::AngleAxisd(view.roll_deg * M_PI / 180, Eigen::Vector3d::UnitZ()).toRotationMatrix();
  rotation_ = roll * tilt * facing;
  eye_ = aim.at - view.distance_mm * rotation_.row(2).transpose();

  if (scene.card) {
    const auto& card = *scene.card;
    const auto& layout = scale::card_layout();
    const Frame touch = frame(card.centre);
    const double turn = card.turn_deg * M_PI / 180;
    const Eigen::Vector3d level_right = std::cos(turn) * touch.along + std::sin(turn) * touch.around;
    const Eigen::Vector3d level_down = -std::sin(turn) * touch.along + std::cos(turn) * touch.around;
    const Eigen::Vector3d down = Eigen::AngleAxisd(card.wedge_deg * M_PI / 180, level_right) * level_down;
    const Eigen::Vector3d right = Eigen::AngleAxisd(card.lean_deg * M_PI / 180, down) * level_right;
    card_n_ = right.cross(down);
    card_u_ = card.print_scale * right;
    card_v_ = card.print_scale * down;
    card_at_ = touch.at - card.offset_mm * touch.inward - layout.width_mm / 2 * card_u_ - layout.height_mm / 2 * card_v_ - card.slide_mm * down;
    const Eigen::Vector3d from_eye = card_at_ - eye_;
    card_away_ = from_eye.dot(card_n_);
    per_u_ = card_u_ / card_u_.squaredNorm();
    per_v_ = card_v_ / card_v_.squaredNorm();
    at_eye_ = {-from_eye.dot(per_u_), -from_eye.dot(per_v_)};
  }
}

double Solid::angle_of(double s) const {
  const double wanted = std::abs(s);
  if (wanted >= arc_.back()) throw std::invalid_argument("a point lies beyond the visible half of the body");
  const auto above = std::upper_bound(arc_.begin(), arc_.end(), wanted);
  const auto i = static_cast<double>(above - arc_.begin()) - 1;
  const double low = *(above - 1), angle = (i + (wanted - low) / (*above - low)) * kRight / kSteps;
  return std::copysign(angle, s);
}

double Solid::arc_of(double angle) const {
  const double at = std::min(std::abs(angle) / kRight * kSteps, kSteps - 1e-9);
  const auto i = static_cast<std::size_t>(at);
  return std::copysign(arc_[i] + (at - static_cast<double>(i)) * (arc_[i + 1] - arc_[i]), angle);
}

Solid::Frame Solid::frame(const SkinPoint& p) const {
  if (!scene_.flank) return {{p.x, p.s, 0}, Eigen::Vector3d::UnitX(), Eigen::Vector3d::UnitY(), Eigen::Vector3d::UnitZ()};
  const double t = angle_of(p.s);
  const Eigen::Vector3d around = Eigen::Vector3d(0, half_height_ * std::cos(t), half_width_ * std::sin(t)).normalized();
  return {
      {p.x, half_height_ * std::sin(t), half_width_ * (1 - std::cos(t))}, Eigen::Vector3d::UnitX(), around, Eigen::Vector3d::UnitX().cross(around)};
}

Eigen::Vector3d Solid::ray(const ImagePoint& pixel, Eigen::Vector2d& bend) const {
  const auto& c = scene_.view.camera;
  const double xd = (pixel.x - c.cx) / c.fx, yd = (pixel.y - c.cy) / c.fy;
  double x = xd, y = yd;
  if (c.distorts()) {
    x += bend.x(), y += bend.y();
    for (int round = 0; round < 20; ++round) {
      const double r2 = x * x + y * y, radial = 1 + r2 * (c.k1 + r2 * (c.k2 + r2 * c.k3)), slope = c.k1 + r2 * (2 * c.k2 + r2 * 3 * c.k3);
      const double ex = x * radial + 2 * c.p1 * x * y + c.p2 * (r2 + 2 * x * x) - xd;
      const double ey = y * radial + c.p1 * (r2 + 2 * y * y) + 2 * c.p2 * x * y - yd;
      const double jxx = radial + 2 * x * x * slope + 2 * c.p1 * y + 6 * c.p2 * x, jxy = 2 * x * y * slope + 2 * c.p1 * x + 2 * c.p2 * y;
      const double jyy = radial + 2 * y * y * slope + 6 * c.p1 * y + 2 * c.p2 * x, det = jxx * jyy - jxy * jxy;
      const double dx = (jyy * ex - jxy * ey) / det, dy = (jxx * ey - jxy * ex) / det;
      x -= dx, y -= dy;
      // Newton's error is squared by each step: after one below 1e-8 it is below the last digit.
      if (std::abs(dx) + std::abs(dy) < 1e-8) break;
    }
    bend = {x - xd, y - yd};
  }
  return rotation_.transpose() * Eigen::Vector3d(x, y, 1);
}

std::optional<SkinPoint> Solid::skin_hit(const Eigen::Vector3d& d, double* distance) const {
  if (!scene_.flank) {
    if (d.z() <= 1e-9) return std::nullopt;
    const double k = -eye_.z() / d.z();
    if (k <= 0) return std::nullopt;
    if (distance) *distance = k;
    return SkinPoint{eye_.x() + k * d.x(), eye_.y() + k * d.y()};
  }
  // (y / h)^2 + ((z - w) / w)^2 = 1, the nearer root.
  const double py = eye_.y() / half_height_, pz = (eye_.z() - half_width_) / half_width_, qy = d.y() / half_height_, qz = d.z() / half_width_;
  const double a = qy * qy + qz * qz, b = py * qy + pz * qz, c = py * py + pz * pz - 1, root = b * b - a * c;
  if (root < 0 || a == 0) return std::nullopt;
  const double k = (-b - std::sqrt(root)) / a;
  const double sine = py + k * qy, minus_cosine = pz + k * qz;
  if (k <= 0 || minus_cosine > 0) return std::nullopt;
  if (distance) *distance = k;
  return SkinPoint{eye_.x() + k * d.x(), arc_of(std::atan2(sine, -minus_cosine))};
}

std::optional<PlanePoint> Solid::card_hit(const Eigen::Vector3d& d, double* distance) const {
  if (!scene_.card) return std::nullopt;
  const double across = d.dot(card_n_);
  if (across <= 1e-9) return std::nullopt;
  const double k = card_away_ / across;
  if (k <= 0) return std::nullopt;
  if (distance) *distance = k;
  return PlanePoint{k * d.dot(per_u_) + at_eye_.x, k * d.dot(per_v_) + at_eye_.y};
}

std::optional<ImagePoint> Solid::project(const Eigen::Vector3d& body) const {
  const Eigen::Vector3d q = rotation_ * (body - eye_);
  if (q.z() <= 1e-6) return std::nullopt;
  const auto& c = scene_.view.camera;
  const double x = q.x() / q.z(), y = q.y() / q.z(), r2 = x * x + y * y, radial = 1 + r2 * (c.k1 + r2 * (c.k2 + r2 * c.k3));
  return ImagePoint{c.cx + c.fx * (x * radial + 2 * c.p1 * x * y + c.p2 * (r2 + 2 * x * x)),
                    c.cy + c.fy * (y * radial + c.p1 * (r2 + 2 * y * y) + 2 * c.p2 * x * y)};
}

bool Solid::faces_camera(const SkinPoint& p) const {
  const Frame f = frame(p);
  return (f.at - eye_).dot(f.inward) > 0;
}

scale::Pose Solid::card_pose() const {
  scale::Pose pose;
  Eigen::Matrix3d axes;
  axes << card_u_.normalized(), card_v_.normalized(), card_n_;
  pose.rotation = rotation_ * axes;
  pose.translation_mm = rotation_ * (card_at_ - eye_);
  return pose;
}

}  // namespace uroko::scenes
