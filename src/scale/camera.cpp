#include "uroko/scale/camera.h"

#include <algorithm>
#include <cmath>

namespace uroko::scale {

namespace {

struct Distortion {
  double x, y;                  // where the ideal normalised point lands
  double xx, xy, yx, yy;        // its derivatives
};

Distortion distort(const Camera& c, double x, double y) {
  const double r2 = x * x + y * y;
  const double radial = 1 + r2 * (c.k1 + r2 * (c.k2 + r2 * c.k3));
  const double slope = 2 * (c.k1 + r2 * (2 * c.k2 + r2 * 3 * c.k3));  // d radial / d r2, times 2
  Distortion d;
  d.x = x * radial + 2 * c.p1 * x * y + c.p2 * (r2 + 2 * x * x);
  d.y = y * radial + c.p1 * (r2 + 2 * y * y) + 2 * c.p2 * x * y;
  d.xx = radial + x * x * slope + 2 * c.p1 * y + 6 * c.p2 * x;
  d.xy = x * y * slope + 2 * c.p1 * x + 2 * c.p2 * y;
  d.yx = d.xy;
  d.yy = radial + y * y * slope + 6 * c.p1 * y + 2 * c.p2 * x;
  return d;
}

}  // namespace

ImagePoint Camera::distorted(const ImagePoint& p) const {
  if (!distorts()) return p;
  const Distortion d = distort(*this, (p.x - cx) / fx, (p.y - cy) / fy);
  return {cx + fx * d.x, cy + fy * d.y};
}

ImagePoint Camera::undistorted(const ImagePoint& p) const {
  if (!distorts()) return p;
  const double tx = (p.x - cx) / fx, ty = (p.y - cy) / fy;
  double x = tx, y = ty;
  // Newton's method; steps are halved where the model folds over (far outside the frame it was calibrated on).
  Distortion d = distort(*this, x, y);
  double error = std::hypot(d.x - tx, d.y - ty);
  for (int round = 0; round < 50 && error > 1e-14; ++round) {
    const double ex = tx - d.x, ey = ty - d.y, determinant = d.xx * d.yy - d.xy * d.yx;
    if (std::abs(determinant) < 1e-9) break;
    double sx = (d.yy * ex - d.xy * ey) / determinant, sy = (d.xx * ey - d.yx * ex) / determinant;
    bool better = false;
    for (int half = 0; half < 8 && !better; ++half) {
      const Distortion trial = distort(*this, x + sx, y + sy);
      const double trial_error = std::hypot(trial.x - tx, trial.y - ty);
      if (trial_error < error) {
        x += sx, y += sy, d = trial, error = trial_error;
        better = true;
      } else {
        sx /= 2, sy /= 2;
      }
    }
    if (!better) break;
  }
  return {cx + fx * x, cy + fy * y};
}

std::vector<ImagePoint> Camera::undistorted(const std::vector<ImagePoint>& points) const {
  std::vector<ImagePoint> ideal;
  ideal.reserve(points.size());
  for (const auto& p : points) ideal.push_back(undistorted(p));
  return ideal;
}

Camera assumed_camera(int width_px, int height_px) {
  Camera camera;
  camera.from = Camera::From::assumed;
  camera.fx = camera.fy = 1.1 * std::max(width_px, height_px);
  camera.cx = (width_px - 1) / 2.0;
  camera.cy = (height_px - 1) / 2.0;
  camera.focal_relative_u = 0.15;
  camera.name = "assumed";
  return camera;
}

}  // namespace uroko::scale
