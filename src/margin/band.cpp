#include "margin/band.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numeric>

#include "margin/raster.h"

namespace uroko::margin {

namespace {

using Row = std::vector<float>;

struct Grid {
  int n = 0, m = 0;  ///< nodes, offsets
  std::vector<float> v;
  float& at(int i, int k) { return v[static_cast<std::size_t>(i * m + k)]; }
  float at(int i, int k) const { return v[static_cast<std::size_t>(i * m + k)]; }
  Grid(int nodes, int offsets) : n(nodes), m(offsets), v(static_cast<std::size_t>(nodes * offsets), 0.f) {}
};

cv::Vec3f sample(const cv::Mat& lab, double x, double y) {
  x = std::clamp(x, 0.0, lab.cols - 1.0);
  y = std::clamp(y, 0.0, lab.rows - 1.0);
  const int x0 = std::min(static_cast<int>(x), std::max(0, lab.cols - 2)), y0 = std::min(static_cast<int>(y), std::max(0, lab.rows - 2));
  const int x1 = std::min(x0 + 1, lab.cols - 1), y1 = std::min(y0 + 1, lab.rows - 1);
  const float fx = static_cast<float>(x - x0), fy = static_cast<float>(y - y0);
  const auto *a = lab.ptr<cv::Vec3b>(y0), *b = lab.ptr<cv::Vec3b>(y1);
  cv::Vec3f out;
  for (int c = 0; c < 3; ++c)
    out[c] = (1 - fy) * ((1 - fx) * static_cast<float>(a[x0][c]) + fx * static_cast<float>(a[x1][c])) +
             fy * ((1 - fx) * static_cast<float>(b[x0][c]) + fx * static_cast<float>(b[x1][c]));
  return out;
}

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

std::vector<Eigen::Vector2d> outward_normals(const Ring<ImagePoint>& ring) {
  const int n = static_cast<int>(ring.size());
  const double turn = signed_area(ring) >= 0 ? 1 : -1;
  std::vector<Eigen::Vector2d> normals(ring.size());
  for (int i = 0; i < n; ++i) {
    Eigen::Vector2d t = Eigen::Vector2d::Zero();
    for (int k = 1; k <= 4; ++k) {
      const auto &a = ring[static_cast<std::size_t>((i - k + 4 * n) % n)], &b = ring[static_cast<std::size_t>((i + k) % n)];
      t += Eigen::Vector2d(b.x - a.x, b.y - a.y) / k;
    }
    if (t.norm() < 1e-9) t = {1, 0};
    t.normalize();
    normals[static_cast<std::size_t>(i)] = turn * Eigen::Vector2d(t.y(), -t.x());
  }
  return normals;
}

/// Nodes of a chain with a cost a state; the cheapest closed path and each node's posterior spread (in states).
struct Chain {
  std::vector<int> path;
  std::vector<double> mean, sd;
};
Chain solve(const Grid& cost, const std::vector<float>& jump) {
  const int n = cost.n, m = cost.m, reach = static_cast<int>(jump.size()) - 1, rounds = 2 * n;
  // Cheapest path over two rounds; the middle round is free of where the walk began.
  std::vector<float> value(static_cast<std::size_t>(m)), next(static_cast<std::size_t>(m));
  std::vector<signed char> from(static_cast<std::size_t>(rounds * m), 0);
  for (int k = 0; k < m; ++k) value[static_cast<std::size_t>(k)] = cost.at(0, k);
  for (int i = 1; i < rounds; ++i) {
    for (int k = 0; k < m; ++k) {
      float best = 1e30f;
      int arg = 0;
      for (int d = -reach; d <= reach; ++d) {
        if (k + d < 0 || k + d >= m) continue;
        const float v = value[static_cast<std::size_t>(k + d)] + jump[static_cast<std::size_t>(std::abs(d))];
        if (v < best) best = v, arg = d;
      }
      next[static_cast<std::size_t>(k)] = best + cost.at(i % n, k);
      from[static_cast<std::size_t>(i * m + k)] = static_cast<signed char>(arg);
    }
    std::swap(value, next);
  }
  Chain out;
  out.path.assign(static_cast<std::size_t>(n), 0);
  int k = static_cast<int>(std::min_element(value.begin(), value.end()) - value.begin());
  for (int i = rounds - 1; i > 0; --i) {
    if (i >= n / 2 && i < n / 2 + n) out.path[static_cast<std::size_t>(i % n)] = k;
    k += from[static_cast<std::size_t>(i * m + k)];
  }
  // Posterior by sums over the same chain: half a round of run-in each way.
  out.mean.assign(static_cast<std::size_t>(n), 0);
  out.sd.assign(static_cast<std::size_t>(n), 0);
  std::vector<float> weight(jump.size());
  for (std::size_t d = 0; d < jump.size(); ++d) weight[d] = std::exp(-jump[d]);
  Grid like(n, m), forward(n, m), backward(n, m);
  for (int i = 0; i < n; ++i) {
    float least = 1e30f;
    for (int j = 0; j < m; ++j) least = std::min(least, cost.at(i, j));
    for (int j = 0; j < m; ++j) like.at(i, j) = std::exp(-std::min(40.f, cost.at(i, j) - least));
  }
  const auto sweep = [&](Grid& message, int direction) {
    std::vector<float> belief(static_cast<std::size_t>(m), 1.f), spread(static_cast<std::size_t>(m));
    const int run_in = std::min(n, 60);
    for (int step = 0; step < n + run_in; ++step) {
      const int i = direction > 0 ? step % n : (2 * n - 1 - step % n) % n;
      float total = 0;
      for (int j = 0; j < m; ++j) {
        float sum = 0;
        for (int d = -reach; d <= reach; ++d)
          if (j + d >= 0 && j + d < m) sum += belief[static_cast<std::size_t>(j + d)] * weight[static_cast<std::size_t>(std::abs(d))];
        spread[static_cast<std::size_t>(j)] = sum;
        total += sum;
      }
      float mass = 0;
      for (int j = 0; j < m; ++j) {
        message.at(i, j) = spread[static_cast<std::size_t>(j)] / total;
        belief[static_cast<std::size_t>(j)] = message.at(i, j) * like.at(i, j);
        mass += belief[static_cast<std::size_t>(j)];
      }
      for (auto& b : belief) b /= std::max(mass, 1e-30f);
    }
  };
  sweep(forward, 1);
  sweep(backward, -1);
  for (int i = 0; i < n; ++i) {
    double w = 0, s = 0, ss = 0;
    for (int j = 0; j < m; ++j) {
      const double p = static_cast<double>(forward.at(i, j)) * static_cast<double>(backward.at(i, j)) * static_cast<double>(like.at(i, j));
      w += p, s += p * j, ss += p * j * j;
    }
    if (w <= 0) {
      out.mean[static_cast<std::size_t>(i)] = out.path[static_cast<std::size_t>(i)];
      out.sd[static_cast<std::size_t>(i)] = m / std::sqrt(12.0);
      continue;
    }
    out.mean[static_cast<std::size_t>(i)] = s / w;
    out.sd[static_cast<std::size_t>(i)] = std::sqrt(std::max(0.0, ss / w - s * s / w / w));
  }
  return out;
}

}  // namespace

Band settle(const cv::Mat& lab, const cv::Mat& glare, const Ring<ImagePoint>& start, const BandOptions& options) {
  Band out;
  const double length = ring_length(start);
  const int n = std::clamp(static_cast<int>(std::lround(length / options.spacing_px)), 24, options.max_nodes);
  const Ring<ImagePoint> ring = resampled(start, n);
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
      colour[at] = sample(lab, x, y);
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
      const double rise = std::clamp((light(b) + light(b + e) - light(a) - light(a - e)) / 2 / kFullRise, -1.0, 1.0);
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
