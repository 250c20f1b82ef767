#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <optional>
#include <vector>

#include "scale/edge_line.h"
#include "scale/parameters.h"
#include "scale/warnings.h"
#include "uroko/base/median.h"
#include "uroko/base/text.h"
#include "uroko/scale/references.h"

namespace uroko::scale {

namespace {

/// A rim's bevel, its shadow and its shine move the edge: allowance per axis, px.
constexpr double rim_u_px = 0.4;

struct Ellipse {
  double x = 0, y = 0, a = 0, b = 0, phi = 0;  // a >= b: semi-axes; phi: direction of a
  double radius(double theta) const {           // along a ray from the middle
    const double c = std::cos(theta - phi), s = std::sin(theta - phi);
    return a * b / std::hypot(b * c, a * s);
  }
};

std::optional<Ellipse> fit_ellipse(const std::vector<ImagePoint>& points) {
  if (points.size() < 12) return std::nullopt;
  double mx = 0, my = 0;
  for (const auto& p : points) mx += p.x / static_cast<double>(points.size()), my += p.y / static_cast<double>(points.size());
  std::vector<cv::Point2f> f;
  f.reserve(points.size());
  for (const auto& p : points) f.emplace_back(static_cast<float>(p.x - mx), static_cast<float>(p.y - my));
  const cv::RotatedRect box = cv::fitEllipseDirect(f);
  Ellipse e{box.center.x + mx, box.center.y + my, box.size.width / 2.0, box.size.height / 2.0, box.angle * std::numbers::pi / 180};
  if (!(std::isfinite(e.x + e.y + e.a + e.b) && e.a > 1 && e.b > 1)) return std::nullopt;
  if (e.a < e.b) std::swap(e.a, e.b), e.phi += std::numbers::pi / 2;
  return e;
}

/// Distance from the curve along the ray from its middle, positive outside.
double off(const Ellipse& e, const ImagePoint& p) { return std::hypot(p.x - e.x, p.y - e.y) - e.radius(std::atan2(p.y - e.y, p.x - e.x)); }

constexpr int rays = 180;

/// Grey slope along each ray from a point, a row a ray; radius r0 + k.
cv::Mat polar_slopes(const cv::Mat& grey, const ImagePoint& from, int r0, int r1) {
  cv::Mat out(rays, r1 - r0, CV_32F);
  for (int i = 0; i < rays; ++i) {
    const double c = std::cos(2 * std::numbers::pi * i / rays), s = std::sin(2 * std::numbers::pi * i / rays);
    for (int r = r0; r < r1; ++r) {
      const double far_x = from.x + (r + 1.0) * c, far_y = from.y + (r + 1.0) * s;
      const bool inside = far_x >= 0 && far_y >= 0 && far_x <= grey.cols - 1 && far_y <= grey.rows - 1;
      out.at<float>(i, r - r0) = inside ? static_cast<float>(grey_at(grey, far_x, far_y) - grey_at(grey, from.x + (r - 1.0) * c, from.y + (r - 1.0) * s)) / 2 : 0.F;
    }
  }
  return out;
}

/// The closed curve around the point with the strongest slope of one sign: radii by dynamic programming, a change of at most 2 px a ray.
std::vector<int> strongest_curve(const cv::Mat& slopes, float sign) {
  const int n = slopes.cols;
  cv::Mat gain(slopes.rows * 2, n, CV_32F), from(slopes.rows * 2, n, CV_32S);
  // Twice round, and the second turn is kept: the start no longer matters.
  for (int i = 0; i < slopes.rows * 2; ++i) {
    const float* s = slopes.ptr<float>(i % slopes.rows);
    for (int k = 0; k < n; ++k) {
      const float own = std::clamp(sign * s[k], 0.F, 25.F);
      if (i == 0) {
        gain.at<float>(i, k) = own;
        continue;
      }
      float best = -1;
      int at = k;
      for (int d = -2; d <= 2; ++d) {
        if (k + d < 0 || k + d >= n) continue;
        const float g = gain.at<float>(i - 1, k + d) - 0.15F * static_cast<float>(d * d);
        if (g > best) best = g, at = k + d;
      }
      gain.at<float>(i, k) = best + own;
      from.at<int>(i, k) = at;
    }
  }
  const float* last = gain.ptr<float>(slopes.rows * 2 - 1);
  int k = static_cast<int>(std::max_element(last, last + n) - last);
  std::vector<int> out(static_cast<std::size_t>(slopes.rows));
  for (int i = slopes.rows * 2 - 1; i >= slopes.rows; --i) {
    out[static_cast<std::size_t>(i - slopes.rows)] = k;
    k = from.at<int>(i, k);
  }
  return out;
}

struct Rim {
  Ellipse ellipse;
  double share = 0;     // of the rays whose edge lies on it
  double contrast = 0;  // grey levels per px, mean
  float sign = 1;
};

/// Edge points off the curve are dropped, the rest fitted again.
std::optional<Rim> rim_of(const cv::Mat& slopes, const ImagePoint& middle, int r0, float sign) {
  const auto radii = strongest_curve(slopes, sign);
  std::vector<ImagePoint> points;
  std::vector<float> strength;
  for (int i = 0; i < rays; ++i) {
    const float s = sign * slopes.at<float>(i, radii[static_cast<std::size_t>(i)]);
    if (s < 1.5F) continue;
    const double r = r0 + radii[static_cast<std::size_t>(i)], angle = 2 * std::numbers::pi * i / rays;
    points.push_back({middle.x + r * std::cos(angle), middle.y + r * std::sin(angle)});
    strength.push_back(s);
  }
  Rim rim;
  rim.sign = sign;
  std::vector<ImagePoint> kept = points;
  for (int round = 0; round < 6; ++round) {
    const auto e = fit_ellipse(kept);
    if (!e) return std::nullopt;
    rim.ellipse = *e;
    const double limit = std::max(1.5, 0.02 * e->b) * (round < 3 ? 2 : 1);
    std::vector<ImagePoint> next;
    rim.contrast = 0;
    for (std::size_t i = 0; i < points.size(); ++i)
      if (std::abs(off(*e, points[i])) < limit) next.push_back(points[i]), rim.contrast += strength[i];
    if (next.size() < rays * 2 / 5) return std::nullopt;
    rim.contrast /= static_cast<double>(next.size());
    rim.share = static_cast<double>(next.size()) / rays;
    kept = std::move(next);
  }
  return rim;
}

/// Whether a fainter ring of the same shape lies outside the one that was found: then that one may be a coin's inner ring, and the coin be half as
/// large again. Half of the rays have to agree on it, so that a shadow on one side is none.
bool ring_outside(const cv::Mat& grey, const Rim& rim) {
  const auto& e = rim.ellipse;
  std::vector<double> steps;
  for (double r = e.b + std::max(4.0, 0.04 * e.b); r < 1.9 * e.b; r += 0.5) {
    const double k = r / e.b;
    std::vector<double> slopes;
    for (int i = 0; i < rays; ++i) {
      const double angle = 2 * std::numbers::pi * i / rays, at = k * e.radius(angle), c = std::cos(angle), s = std::sin(angle);
      const double x = e.x + (at + 1) * c, y = e.y + (at + 1) * s;
      if (x < 0 || y < 0 || x > grey.cols - 1 || y > grey.rows - 1) continue;
      slopes.push_back((grey_at(grey, x, y) - grey_at(grey, e.x + (at - 1) * c, e.y + (at - 1) * s)) / 2);
    }
    if (slopes.size() < rays / 2) break;
    steps.push_back(median(slopes));
  }
  if (steps.size() < 8) return false;
  std::vector<double> sizes;
  sizes.reserve(steps.size());
  for (const double s : steps) sizes.push_back(std::abs(s));
  // The ground's own texture shows in most of the steps, a ring in a few.
  return *std::max_element(sizes.begin(), sizes.end()) > std::max({0.3, 0.1 * rim.contrast, 6 * 1.48 * median(sizes)});
}

}  // namespace

Result<PlaneMap> from_disc(const cv::Mat& photo, const Camera& camera, const ImagePoint& near, double diameter_mm) {
  if (!std::isfinite(diameter_mm) || diameter_mm <= 0) return Refusal{"zero-length", "the disc's diameter must be above 0 mm", "give its true diameter"};
  if (photo.empty() || !(near.x >= -0.5 && near.y >= -0.5 && near.x <= photo.cols - 0.5 && near.y <= photo.rows - 0.5))
    return Refusal{"outside", "the disc's point lies outside the photo", "click in the middle of the coin"};
  cv::Mat grey = photo;
  if (photo.channels() != 1) cv::cvtColor(photo, grey, cv::COLOR_BGR2GRAY);
  const int longer = std::max(grey.cols, grey.rows);
  const double scale = std::min(1.0, 1000.0 / longer);
  cv::Mat small = grey;
  if (scale < 1) cv::resize(grey, small, {}, scale, scale, cv::INTER_AREA);
  const double sx = static_cast<double>(grey.cols) / small.cols, sy = static_cast<double>(grey.rows) / small.rows;
  cv::GaussianBlur(small, small, {}, 1.0);
  ImagePoint middle{(near.x + 0.5) / sx - 0.5, (near.y + 0.5) / sy - 0.5};

  // The rim is the outermost strong closed curve: inner rings and letters have others.
  std::optional<Rim> best;
  const int reach = static_cast<int>(0.45 * std::min(small.cols, small.rows));
  for (int turn = 0; turn < 2; ++turn) {
    std::optional<Rim> found;
    for (const float sign : {1.F, -1.F}) {
      int r0 = 5;
      for (int outer = 0; outer < 4 && r0 + 8 < reach; ++outer) {
        const auto rim = rim_of(polar_slopes(small, middle, r0, reach), middle, r0, sign);
        if (!rim || rim->share < 0.6 || rim->ellipse.b < 0.5 * rim->ellipse.a) break;
        const bool stronger = !found || rim->share * rim->contrast > found->share * found->contrast * (rim->ellipse.b > 1.04 * found->ellipse.b ? 0.5 : 1.5);
        if (stronger) found = rim;
        r0 = static_cast<int>(rim->ellipse.a * 1.05 + distance(middle, ImagePoint{rim->ellipse.x, rim->ellipse.y})) + 3;
      }
    }
    if (!found) break;
    best = found;
    middle = {found->ellipse.x, found->ellipse.y};  // again from the true middle: the curve is even there
  }
  const Refusal none{"no-disc", "no round disc was found at that point", "click in the middle of the coin; it must lie whole, on a ground of another brightness"};
  if (!best || best->share < 0.65) return none;
  if (ring_outside(small, *best))
    return Refusal{"rim-unclear", "a ring was found at that point, and a fainter one outside of it: which of them is the disc's rim cannot be told",
                   "lay the coin whole on a ground of another brightness, or use the printed card"};

  // At full size: the steepest place along the normal, to a part of a pixel.
  Ellipse e = best->ellipse;
  e.x = (e.x + 0.5) * sx - 0.5, e.y = (e.y + 0.5) * sy - 0.5, e.a *= (sx + sy) / 2, e.b *= (sx + sy) / 2;
  std::vector<ImagePoint> edge;
  for (int round = 0; round < 2; ++round) {
    edge.clear();
    const double window = (round == 0 ? 2.5 * sx : 2.0) + 1.5;
    const int places = std::clamp(static_cast<int>(2 * e.a), 90, 360);
    for (int i = 0; i < places; ++i) {
      const double angle = 2 * std::numbers::pi * i / places, r = e.radius(angle), c = std::cos(angle), s = std::sin(angle);
      constexpr double step = 0.5;
      const int half = static_cast<int>(window / step);
      std::vector<double> slope(static_cast<std::size_t>(2 * half + 1));
      for (int k = -half; k <= half; ++k) {
        double sum = 0, norm = 0;
        for (int o = -5; o <= 5; ++o) {
          const double d = o * step, g = d * std::exp(-d * d / 2), at = r + k * step + d;
          sum += g * grey_at(grey, e.x + at * c, e.y + at * s);
          norm += g * d;
        }
        slope[static_cast<std::size_t>(k + half)] = best->sign * sum / norm;
      }
      const auto top = std::max_element(slope.begin() + 1, slope.end() - 1);
      if (*top < 1 || *top < *(top - 1) || *top < *(top + 1)) continue;
      const double bend = *(top - 1) - 2 * *top + *(top + 1), shift = bend < 0 ? 0.5 * (*(top - 1) - *(top + 1)) / bend : 0;
      const double at = r + (static_cast<double>(top - slope.begin()) + shift - half) * step;
      const double x = e.x + at * c, y = e.y + at * s;
      if (x < 1 || y < 1 || x > grey.cols - 2 || y > grey.rows - 2) continue;
      edge.push_back(round == 0 ? ImagePoint{x, y} : camera.undistorted({x, y}));
    }
    std::vector<ImagePoint> kept = edge;
    for (int fit = 0; fit < 5; ++fit) {
      const auto next = fit_ellipse(kept);
      if (!next) return none;
      e = *next;
      std::vector<double> sizes;
      sizes.reserve(edge.size());
      for (const auto& p : edge) sizes.push_back(std::abs(off(e, p)));
      auto sorted = sizes;
      std::nth_element(sorted.begin(), sorted.begin() + static_cast<long>(sorted.size() / 2), sorted.end());
      const double limit = std::max(0.4, 3.5 * sorted[sorted.size() / 2]);
      kept.clear();
      for (std::size_t i = 0; i < edge.size(); ++i)
        if (sizes[i] < limit) kept.push_back(edge[i]);
      if (kept.size() < edge.size() / 2) return none;
    }
    edge = kept;
  }
  double rms = 0;
  for (const auto& p : edge) rms += off(e, p) * off(e, p);
  rms = std::sqrt(rms / static_cast<double>(edge.size()));
  if (rms > std::max(2.0, 0.02 * e.b)) return none;

  PlaneMap map;
  map.kind = Kind::disc;
  map.camera = camera;
  map.points = static_cast<int>(edge.size());
  map.rms_px = rms;
  map.tilt_known = false;
  map.scale_relative_u = 0.002;
  // The ellipse fixes the affine map at the disc; which of the two tilts of equal size made it stays open, so the perspective across the
  // plane is taken as none and its standard uncertainty as what either tilt would give: tan(t) / f along the short axis.
  const double ratio = std::clamp(e.b / e.a, 0.0, 1.0);
  map.tilt_deg = std::acos(ratio) * 180 / std::numbers::pi;
  const double wide = std::acos(std::clamp(ratio - rim_u_px / e.b, 0.05, 1.0));
  map.tilt_u_deg = wide * 180 / std::numbers::pi - map.tilt_deg;
  const double g_u = std::tan(wide) / camera.fx;
  const double phi = e.phi;
  const auto plane = [phi, diameter_mm](const Eigen::VectorXd& p) -> Eigen::Matrix3d {
    const double c = std::cos(phi), s = std::sin(phi);
    Eigen::Matrix3d to_axes, scale, back, shift;
    to_axes << c, s, 0, -s, c, 0, 0, 0, 1;
    scale << diameter_mm / 2 / p(2), 0, 0, 0, diameter_mm / 2 / p(3), 0, 0, 0, 1;
    back << c, -s, diameter_mm / 2, s, c, diameter_mm / 2, 0, 0, 1;
    shift << 1, 0, -p(0), 0, 1, -p(1), 0, 0, 1;
    Eigen::Matrix3d perspective = Eigen::Matrix3d::Identity();
    perspective(2, 0) = p(4) * -s;
    perspective(2, 1) = p(4) * c;
    return back * scale * to_axes * perspective * shift;
  };
  Eigen::VectorXd p(5), step(5);
  p << e.x, e.y, e.a, e.b, 0;
  step << 1e-3, 1e-3, 1e-3, 1e-3, 1e-8;
  Eigen::MatrixXd covariance = Eigen::MatrixXd::Zero(5, 5);
  const double u = std::hypot(rim_u_px, rms / std::sqrt(static_cast<double>(edge.size()) / 4));
  covariance.diagonal() << u * u, u * u, u * u, u * u, g_u * g_u;
  set_from_parameters(map, plane, p, covariance, step);
  for (int i = 0; i < 36; ++i) {
    const double angle = 2 * std::numbers::pi * i / 36, r = e.radius(angle);
    map.reference.push_back(camera.distorted({e.x + r * std::cos(angle), e.y + r * std::sin(angle)}));
    map.reference_mm.push_back(map.to_plane(map.reference.back()));
  }
  map.warnings.push_back(warning("tilt-ambiguous", "a disc of " + number_text(diameter_mm) + " mm tilted by " + fixed_text(map.tilt_deg, 0) +
                                                       " degrees looks the same tilted either way; lay it right beside the wound, camera square to it"));
  if (map.tilt_deg > 30)
    map.warnings.push_back(warning("tilt", "the disc is tilted by " + fixed_text(map.tilt_deg, 0) + " degrees; hold the camera square to the wound"));
  if (e.b < 40)
    map.warnings.push_back(warning("small-reference", "the disc is only " + fixed_text(2 * e.b, 0) + " px wide; come closer or use the printed card"));
  return map;
}

}  // namespace uroko::scale
