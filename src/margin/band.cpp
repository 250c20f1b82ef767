#include "margin/band.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numeric>

#include "margin/chain.h"
#include "margin/raster.h"

namespace uroko::margin {

namespace {

/// Weight, mean and second moments of colours, summable along the ring.
struct Moments {
  double w = 0;
  Eigen::Vector3d s = Eigen::Vector3d::Zero();
  Eigen::Matrix3d ss = Eigen::Matrix3d::Zero();
  void add(const Eigen::Vector3d& c, double weight) {
    w += weight;
    s += weight * c;
    ss += weight * c * c.transpose();
  }
  Moments& operator+=(const Moments& o) {
    w += o.w, s += o.s, ss += o.ss;
    return *this;
  }
  Moments& operator-=(const Moments& o) {
    w -= o.w, s -= o.s, ss -= o.ss;
    return *this;
  }
  Eigen::Vector3d mean() const { return s / std::max(w, 1e-9); }
  Eigen::Matrix3d covariance() const {
    const Eigen::Vector3d m = mean();
    return ss / std::max(w, 1e-9) - m * m.transpose();
  }
};

std::vector<Moments> window_sums(const std::vector<Moments>& nodes, int reach) {
  const int n = static_cast<int>(nodes.size());
  reach = std::min(reach, (n - 1) / 2);
  std::vector<Moments> out(nodes.size());
  Moments sum;
  for (int k = -reach; k <= reach; ++k) sum += nodes[static_cast<std::size_t>((k + n) % n)];
  for (int i = 0; i < n; ++i) {
    out[static_cast<std::size_t>(i)] = sum;
    sum += nodes[static_cast<std::size_t>((i + reach + 1) % n)];
    sum -= nodes[static_cast<std::size_t>((i - reach + n) % n)];
  }
  return out;
}

}  // namespace

Band settle(const cv::Mat& lab, const cv::Mat& glare, const Ring<ImagePoint>& start, const BandOptions& options) {
  Band out;
  const double length = ring_length(start);
  const int n = std::clamp(static_cast<int>(std::lround(length / options.spacing_px)), 24, options.max_nodes);
  // Cut between the old vertices: a first vertex that stayed what it was would keep its corner while all others are rounded a little.
  const Ring<ImagePoint> ring = resampled(start, n, 0.5);
  const auto normals = outward_normals(ring);
  const double spacing = length / n;
  const double step = options.half_width_px > 16 ? options.half_width_px / 32 : options.half_width_px > 6 ? 0.5 : 0.25;
  const int K = std::max(4, static_cast<int>(std::lround(options.half_width_px / step)));
  // The profiles reach half a band further than the edge may move, so that both sides are seen at the rims too.
  const int extra = K / 2, M = 2 * (K + extra) + 1, m = 2 * K + 1;
  std::vector<cv::Vec3f> colour(static_cast<std::size_t>(n * M));
  std::vector<float> trust(static_cast<std::size_t>(n * M), 1.f);
  std::vector<Moments> inner(static_cast<std::size_t>(n)), outer(static_cast<std::size_t>(n));
  for (int i = 0; i < n; ++i) {
    const auto& p = ring[static_cast<std::size_t>(i)];
    const auto& nrm = normals[static_cast<std::size_t>(i)];
    for (int k = 0; k < M; ++k) {
      const double o = (k - K - extra) * step, x = p.x + o * nrm.x(), y = p.y + o * nrm.y();
      const auto at = static_cast<std::size_t>(i * M + k);
      colour[at] = sample<cv::Vec3f, cv::Vec3b>(lab, x, y);
      const int px = static_cast<int>(std::lround(x)), py = static_cast<int>(std::lround(y));
      const bool seen = px >= 0 && py >= 0 && px < lab.cols && py < lab.rows;
      if (!seen || (!glare.empty() && glare.at<uchar>(py, px))) trust[at] = 0;
      const Eigen::Vector3d c(static_cast<double>(colour[at][0]), static_cast<double>(colour[at][1]), static_cast<double>(colour[at][2]));
      const double f = std::abs(o) / (step * (K + extra));
      if (f > 0.3 && trust[at] > 0) (o < 0 ? inner : outer)[static_cast<std::size_t>(i)].add(c, 1);
    }
  }
  const int reach = std::clamp(static_cast<int>(std::lround(std::max(10.0, 2.5 * options.half_width_px) / spacing)), 4, std::max(4, n / 8));
  inner = window_sums(inner, reach);
  outer = window_sums(outer, reach);

  const double way = options.island ? -1 : 1;
  constexpr double kFullRise = 20;  // 8-bit L*: 8 units of L*, a plain step
  Grid cost(n, m), rises(n, m);
  out.contrast.resize(static_cast<std::size_t>(n));
  std::vector<float> f(static_cast<std::size_t>(M));
  Grid response(n, M);
  for (int i = 0; i < n; ++i) {
    const auto &in = inner[static_cast<std::size_t>(i)], &ou = outer[static_cast<std::size_t>(i)];
    const Eigen::Matrix3d pooled = 0.5 * (in.covariance() + ou.covariance()) + 6.0 * Eigen::Matrix3d::Identity();
    const Eigen::Vector3d gap = in.mean() - ou.mean(), w = pooled.ldlt().solve(gap);
    const double separation2 = std::max(gap.dot(w), 1e-9);
    out.contrast[static_cast<std::size_t>(i)] = std::sqrt(separation2);
    const Eigen::Vector3d middle = 0.5 * (in.mean() + ou.mean());
    const double reliable = in.w > 1 && ou.w > 1 ? separation2 / (separation2 + 2.0) : 0;
    for (int k = 0; k < M; ++k) {
      const auto at = static_cast<std::size_t>(i * M + k);
      const Eigen::Vector3d c(static_cast<double>(colour[at][0]), static_cast<double>(colour[at][1]), static_cast<double>(colour[at][2]));
      f[static_cast<std::size_t>(k)] = static_cast<float>(std::clamp(w.dot(c - middle) / separation2, -0.8, 0.8));
      response.at(i, k) = f[static_cast<std::size_t>(k)];
    }
    // Region: how badly the samples on each side fit it, were the edge at k.
    double sum = 0;
    for (int k = 0; k < M; ++k)
      sum += static_cast<double>(trust[static_cast<std::size_t>(i * M + k)]) * (static_cast<double>(f[static_cast<std::size_t>(k)]) + 0.5);
    const int e = std::max(1, static_cast<int>(std::lround(1.0 / step)));
    for (int k = 0; k < M; ++k) {
      const auto at = static_cast<std::size_t>(i * M + k);
      // Passing sample k from outside to inside changes the misfit by (0.5 - f) - (0.5 + f).
      sum += static_cast<double>(trust[at]) * (-2.0 * static_cast<double>(f[static_cast<std::size_t>(k)]));
      const int j = k - extra;
      if (j < 0 || j >= m) continue;
      const int a = std::max(0, k - e), b = std::min(M - 1, k + e);
      const auto wide = [&](int q) { return static_cast<double>(f[static_cast<std::size_t>(std::clamp(q, 0, M - 1))]); };
      const double drop = (wide(a) + wide(a - e) - wide(b) - wide(b + e)) / 2;
      const auto light = [&](int q) { return static_cast<double>(colour[static_cast<std::size_t>(i * M + std::clamp(q, 0, M - 1))][0]); };
      const double rise = std::clamp(way * (light(b) + light(b + e) - light(a) - light(a - e)) / 2 / kFullRise, -1.0, 1.0);
      rises.at(i, j) = static_cast<float>(rise * static_cast<double>(trust[at]));
      const double place = static_cast<double>(j - K) / K;
      const double seen = static_cast<double>(trust[at]), edge = 1.2 * (1 - std::clamp(drop, 0.0, 1.0)) * seen;
      cost.at(i, j) = static_cast<float>(reliable * (options.region * sum * step + edge) + options.rise * (1 - rise) * seen +
                                         options.hold * place * place * spacing / 2);
    }
  }
  std::vector<float> jump;
  for (int d = 0; d <= std::max(2, static_cast<int>(std::lround(0.8 * spacing / step))); ++d)
    jump.push_back(static_cast<float>(1.2 * std::pow(d * step / spacing, 2) + 0.25 * d * step / spacing));
  const auto chain = solve(cost, jump);
  for (int i = 0; i < n; ++i) out.rise.push_back(static_cast<double>(rises.at(i, chain.path[static_cast<std::size_t>(i)])));

  // The path's state and its posterior mean agree where one edge is seen; the mean gives the part of a pixel.
  std::vector<double> move(static_cast<std::size_t>(n));
  for (int i = 0; i < n; ++i) {
    const double by_path = chain.path[static_cast<std::size_t>(i)], by_mean = chain.mean[static_cast<std::size_t>(i)];
    move[static_cast<std::size_t>(i)] = (std::clamp(by_mean, by_path - 1.5 / step, by_path + 1.5 / step) - K) * step;
  }
  out.ring.resize(static_cast<std::size_t>(n));
  out.doubt_px.resize(static_cast<std::size_t>(n));
  double square = 0;
  for (int i = 0; i < n; ++i) {
    const auto u = static_cast<std::size_t>(i);
    const auto before = static_cast<std::size_t>((i + n - 1) % n), after = static_cast<std::size_t>((i + 1) % n);
    const double d = 0.25 * move[before] + 0.5 * move[u] + 0.25 * move[after];
    out.ring[u] = {ring[u].x + d * normals[u].x(), ring[u].y + d * normals[u].y()};
    out.doubt_px[u] = std::max(0.1, chain.sd[u] * step);
    square += d * d;
  }
  out.moved_px = std::sqrt(square / n);

  // The edge's softness: the mean profile's derivative, centred on the found edge, is a Gaussian of this sigma; its half-maximum width is robust.
  std::vector<double> widths;
  for (int i = 0; i < n; ++i) {
    const int centre = static_cast<int>(std::lround(move[static_cast<std::size_t>(i)] / step)) + K + extra;
    int a = centre, b = centre;
    while (a > 0 && response.at(i, a) < 0.35f) --a;
    while (b < M - 1 && response.at(i, b) > -0.35f) ++b;
    // From +0.35 to -0.35 of a unit step is 2 x 1.036 sigma of a Gaussian edge.
    widths.push_back((b - a) * step / 2.07);
  }
  std::nth_element(widths.begin(), widths.begin() + n / 2, widths.end());
  out.softness_px = widths[static_cast<std::size_t>(n / 2)];
  return out;
}

}  // namespace uroko::margin
