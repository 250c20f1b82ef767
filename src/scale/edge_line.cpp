#include "scale/edge_line.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <vector>

namespace uroko::scale {

double grey_at(const cv::Mat& grey, double x, double y) {
  x = std::clamp(x, 0.0, grey.cols - 1.0);
  y = std::clamp(y, 0.0, grey.rows - 1.0);
  const int x0 = std::min(static_cast<int>(x), std::max(grey.cols - 2, 0)), y0 = std::min(static_cast<int>(y), std::max(grey.rows - 2, 0));
  const int x1 = std::min(x0 + 1, grey.cols - 1), y1 = std::min(y0 + 1, grey.rows - 1);
  const double fx = x - x0, fy = y - y0;
  const uchar *r0 = grey.ptr<uchar>(y0), *r1 = grey.ptr<uchar>(y1);
  return (1 - fy) * ((1 - fx) * r0[x0] + fx * r0[x1]) + fy * ((1 - fx) * r1[x0] + fx * r1[x1]);
}

namespace {

struct EdgePoint {
  Eigen::Vector2d ideal;
  double contrast;
};

/// Total least squares line through the points that `keep` marks.
EdgeLine line_through(const std::vector<EdgePoint>& points, const std::vector<bool>& keep) {
  Eigen::Vector2d mean = Eigen::Vector2d::Zero();
  double n = 0;
  for (std::size_t i = 0; i < points.size(); ++i)
    if (keep[i]) mean += points[i].ideal, n += 1;
  mean /= n;
  Eigen::Matrix2d scatter = Eigen::Matrix2d::Zero();
  for (std::size_t i = 0; i < points.size(); ++i)
    if (keep[i]) scatter += (points[i].ideal - mean) * (points[i].ideal - mean).transpose();
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> eigen(scatter);
  EdgeLine line;
  line.nx = eigen.eigenvectors()(0, 0);
  line.ny = eigen.eigenvectors()(1, 0);
  line.c = line.nx * mean.x() + line.ny * mean.y();
  line.rms_px = std::sqrt(std::max(0.0, eigen.eigenvalues()(0)) / std::max(1.0, n - 2));
  line.u_offset_px = line.rms_px / std::sqrt(n);
  return line;
}

}  // namespace

std::optional<EdgeLine> find_edge_line(const std::vector<cv::Mat>& planes, const Camera& camera, const ImagePoint& a, const ImagePoint& b, double reach_px) {
  const double length = distance(a, b);
  if (length < 12) return std::nullopt;
  const Eigen::Vector2d along((b.x - a.x) / length, (b.y - a.y) / length), across(-along.y(), along.x());
  const int places = std::clamp(static_cast<int>(length / 3), 12, 120);
  constexpr double step = 0.5;
  const int half = static_cast<int>(std::ceil((reach_px + 2) / step));
  std::vector<std::vector<double>> slopes;  // derivative across, a row a place
  std::vector<Eigen::Vector2d> middles;
  double rising = 0, falling = 0;
  for (int i = 0; i < places; ++i) {
    const double t = length * (0.15 + 0.7 * (i + 0.5) / places);
    const Eigen::Vector2d m = Eigen::Vector2d(a.x, a.y) + t * along;
    std::vector<double> profile(static_cast<std::size_t>(2 * half + 1)), slope(profile.size(), 0.0);
    for (const auto& plane : planes) {
      for (int k = -half; k <= half; ++k) {
        double sum = 0;
        for (const double o : {-1.0, 0.0, 1.0}) {
          const Eigen::Vector2d p = m + k * step * across + o * along;
          sum += grey_at(plane, p.x(), p.y());
        }
        profile[static_cast<std::size_t>(k + half)] = sum / 3;
      }
      // Derivative of a Gaussian, sigma 1 px.
      constexpr int reach = 6;
      for (int k = reach; k + reach < static_cast<int>(profile.size()); ++k) {
        double s = 0, norm = 0;
        for (int o = -reach; o <= reach; ++o) {
          const double d = o * step, g = d * std::exp(-d * d / 2);
          s += g * profile[static_cast<std::size_t>(k + o)];
          norm += g * d;
        }
        auto& best = slope[static_cast<std::size_t>(k)];
        best = planes.size() == 1 ? s / norm : std::max(best, std::abs(s / norm));
      }
    }
    rising += *std::max_element(slope.begin(), slope.end());
    falling -= *std::min_element(slope.begin(), slope.end());
    slopes.push_back(std::move(slope));
    middles.push_back(m);
  }
  const double sign = rising >= falling ? 1 : -1;
  std::vector<EdgePoint> points;
  for (int i = 0; i < places; ++i) {
    auto& slope = slopes[static_cast<std::size_t>(i)];
    const auto value = [&](long k) { return sign * slope[static_cast<std::size_t>(k)]; };
    long best = -1;
    const int limit = static_cast<int>(std::floor(reach_px / step));
    for (long k = half - limit; k <= half + limit; ++k)
      if (value(k) > 3 && value(k) >= value(k - 1) && value(k) >= value(k + 1) && (best < 0 || value(k) > value(best))) best = k;
    if (best < 0) continue;
    const double l = value(best - 1), c = value(best), r = value(best + 1), bend = l - 2 * c + r;
    const double at = (static_cast<double>(best) + (bend < 0 ? 0.5 * (l - r) / bend : 0) - half) * step;
    const Eigen::Vector2d p = middles[static_cast<std::size_t>(i)] + at * across;
    const ImagePoint ideal = camera.undistorted({p.x(), p.y()});
    points.push_back({{ideal.x, ideal.y}, c * 2.5});
  }
  if (points.size() < 0.6 * places) return std::nullopt;
  // The line with most edge points within 0.7 px, among all spaced pairs.
  std::vector<bool> best_keep;
  std::size_t best_count = 0;
  const std::size_t n = points.size();
  for (std::size_t i = 0; i < n; i += 2) {
    for (std::size_t j = i + n / 3; j < n; j += 3) {
      const Eigen::Vector2d d = points[j].ideal - points[i].ideal;
      const Eigen::Vector2d normal = Eigen::Vector2d(-d.y(), d.x()).normalized();
      std::vector<bool> keep(n);
      std::size_t count = 0;
      for (std::size_t k = 0; k < n; ++k) count += keep[k] = std::abs(normal.dot(points[k].ideal - points[i].ideal)) < 0.7;
      if (count > best_count) best_count = count, best_keep = std::move(keep);
    }
  }
  if (best_count < 0.6 * places) return std::nullopt;
  EdgeLine line = line_through(points, best_keep);
  for (int round = 0; round < 3; ++round) {
    std::vector<bool> keep(n);
    for (std::size_t k = 0; k < n; ++k)
      keep[k] = std::abs(line.nx * points[k].ideal.x() + line.ny * points[k].ideal.y() - line.c) < std::max(0.3, 3 * line.rms_px);
    if (std::count(keep.begin(), keep.end(), true) < 0.6 * places) return std::nullopt;
    best_keep = keep;
    line = line_through(points, keep);
  }
  double contrast = 0;
  std::size_t count = 0;
  for (std::size_t k = 0; k < n; ++k)
    if (best_keep[k]) contrast += points[k].contrast, ++count;
  line.contrast = contrast / static_cast<double>(count);
  line.share = static_cast<double>(count) / places;
  return line;
}

std::optional<ImagePoint> meeting(const EdgeLine& a, const EdgeLine& b) {
  const double d = a.nx * b.ny - a.ny * b.nx;
  if (std::abs(d) < 1e-3) return std::nullopt;
  return ImagePoint{(a.c * b.ny - b.c * a.ny) / d, (a.nx * b.c - b.nx * a.c) / d};
}

}  // namespace uroko::scale
