#include "margin/chain.h"

#include <algorithm>
#include <cmath>

namespace uroko::margin {

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

}  // namespace uroko::margin
