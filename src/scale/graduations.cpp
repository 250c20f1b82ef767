#include "scale/graduations.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "scale/edge_line.h"

namespace uroko::scale {

namespace {

using Complex = std::complex<double>;
using Signal = std::vector<double>;
constexpr double tau = 2 * std::numbers::pi;

/// Grey values along the line, averaged across a band; a value a pixel, slow changes taken out.
Signal band_profile(const cv::Mat& grey, const ImagePoint& a, const Eigen::Vector2d& along, double length, double offset, double thick, double smooth) {
  const Eigen::Vector2d across(-along.y(), along.x());
  const int n = static_cast<int>(length) + 1, rows = std::max(1, static_cast<int>(std::lround(thick)));
  Signal raw(static_cast<std::size_t>(n));
  const double step = length / (n - 1);  // the last sample lies on b
  for (int i = 0; i < n; ++i) {
    const double t = i * step;
    double sum = 0;
    for (int r = 0; r < rows; ++r) {
      const double o = offset + (r - (rows - 1) / 2.0) * thick / rows;
      sum += grey_at(grey, a.x + t * along.x() + o * across.x(), a.y + t * along.y() + o * across.y());
    }
    raw[static_cast<std::size_t>(i)] = sum / rows;
  }
  // Minus a running mean of `smooth` pixels.
  Signal sums(raw.size() + 1, 0.0), out(raw.size());
  for (std::size_t i = 0; i < raw.size(); ++i) sums[i + 1] = sums[i] + raw[i];
  const int half = std::max(2, static_cast<int>(smooth / 2));
  for (int i = 0; i < n; ++i) {
    const int lo = std::max(0, i - half), hi = std::min(n, i + half + 1);
    out[static_cast<std::size_t>(i)] = raw[static_cast<std::size_t>(i)] - (sums[static_cast<std::size_t>(hi)] - sums[static_cast<std::size_t>(lo)]) / (hi - lo);
  }
  // A numeral or a stain must not outweigh the ticks.
  Signal sizes(out.size());
  std::transform(out.begin(), out.end(), sizes.begin(), [](double v) { return std::abs(v); });
  std::nth_element(sizes.begin(), sizes.begin() + static_cast<long>(sizes.size() * 9 / 10), sizes.end());
  const double cap = 1.5 * sizes[sizes.size() * 9 / 10] + 1e-9;
  for (double& v : out) v = std::clamp(v, -cap, cap);
  return out;
}

struct Model {
  double n = 0, q = 0;
  double count(double l) const { return n * l * (1 + q) / (1 + q * l); }
};

/// Complex amplitude of harmonic `k` of the model in each of `windows` pieces.
std::vector<Complex> amplitudes(const Signal& x, const Model& m, double k, int windows) {
  std::vector<Complex> out(static_cast<std::size_t>(windows));
  const double length = static_cast<double>(x.size()) - 1;
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double l = static_cast<double>(i) / length;
    const double phase = -tau * k * m.count(l);
    const int w = std::min(windows - 1, static_cast<int>(l * windows));
    out[static_cast<std::size_t>(w)] += x[i] * Complex(std::cos(phase), std::sin(phase));
  }
  return out;
}

double coherent(const std::vector<Complex>& a) {
  Complex sum = 0;
  for (const auto& v : a) sum += v;
  return std::abs(sum);
}

struct Found {
  Model model;
  double strength = 0;   // |sum| / pixels: grey levels
  double contrast = 0;   // over other periods
  double coherence = 0;
};

/// The best model near `n0` intervals: a coarse look over n and q on a demodulated, thinned copy of the signal.
Found search(const Signal& x, double n0, double reach) {
  const double length = static_cast<double>(x.size()) - 1;
  const int pieces = std::max(8, static_cast<int>(3 * n0));
  std::vector<Complex> thin(static_cast<std::size_t>(pieces));
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double l = static_cast<double>(i) / length, phase = -tau * n0 * l;
    thin[static_cast<std::size_t>(std::min(pieces - 1, static_cast<int>(l * pieces)))] += x[i] * Complex(std::cos(phase), std::sin(phase));
  }
  const double q_step = std::clamp(0.8 / n0, 0.004, 0.05);
  Found best;
  const double n_step = 0.3;
  for (double q = -0.35; q <= 0.45; q += q_step) {
    for (double n = n0 * (1 - reach); n <= n0 * (1 + reach); n += n_step) {
      Complex sum = 0;
      const Model m{n, q};
      for (int p = 0; p < pieces; ++p) {
        const double l = (p + 0.5) / pieces, phase = -tau * (m.count(l) - n0 * l);
        sum += thin[static_cast<std::size_t>(p)] * Complex(std::cos(phase), std::sin(phase));
      }
      // Equal strengths go to the smaller perspective.
      const double s = std::abs(sum) / static_cast<double>(x.size()) * (1 - 0.02 * std::abs(q));
      if (s > best.strength) best.strength = s, best.model = m;
    }
  }
  return best;
}

double strength_at(const Signal& x, const Model& m, double factor) {
  const auto a = amplitudes(x, {m.n * factor, m.q}, 1, 8);
  double sum = 0;
  for (const auto& v : a) sum += std::abs(v);
  return sum / static_cast<double>(x.size());
}

void judge(const Signal& x, Found& f) {
  const int windows = std::clamp(static_cast<int>(f.model.n / 3), 3, 12);
  const auto a = amplitudes(x, f.model, 1, windows);
  double sizes = 0;
  for (const auto& v : a) sizes += std::abs(v);
  f.coherence = sizes > 0 ? coherent(a) / sizes : 0;
  std::vector<double> others;
  for (const double factor : {0.62, 0.71, 0.79, 0.87, 1.13, 1.21, 1.29, 1.38}) others.push_back(strength_at(x, f.model, factor));
  std::sort(others.begin(), others.end());
  f.contrast = strength_at(x, f.model, 1) / std::max(others[others.size() / 2], 1e-9);
}

}  // namespace

std::optional<Graduations> find_graduations(const cv::Mat& grey, const ImagePoint& a, const ImagePoint& b, double length_mm, double q_prior_u) {
  const double length = distance(a, b);
  const double px_per_mm = length / length_mm;
  const Eigen::Vector2d along((b.x - a.x) / length, (b.y - a.y) / length);
  struct Candidate {
    Found found;
    Signal signal;
    double period;
  };
  const auto look = [&](double period) -> std::optional<Candidate> {
    const double n0 = length_mm / period, pixels = px_per_mm * period;
    if (n0 < 4 || pixels < 2.4) return std::nullopt;
    std::optional<Candidate> best;
    // Bands from 7 periods on one side to 7 on the other, at most 9 mm.
    const double reach = std::min(7 * period, 9.0) * px_per_mm, thick = std::max(0.7 * period * px_per_mm, 3.0), step = std::max(reach / 8, 2.0);
    std::vector<std::pair<double, double>> ranked;
    for (double offset = -reach; offset <= reach; offset += step) {
      const Signal x = band_profile(grey, a, along, length, offset, thick, 2.5 * pixels);
      // Windows of a few periods forgive perspective: the strongest period near the expected one, summed over windows.
      double power = 0;
      for (const double factor : {0.94, 0.97, 1.0, 1.03, 1.06}) {
        const auto w = amplitudes(x, {n0 * factor, 0}, 1, std::max(3, static_cast<int>(n0 / 6)));
        double sum = 0;
        for (const auto& v : w) sum += std::abs(v);
        power = std::max(power, sum);
      }
      ranked.emplace_back(power, offset);
    }
    std::sort(ranked.rbegin(), ranked.rend());
    for (std::size_t i = 0; i < std::min<std::size_t>(ranked.size(), 3); ++i) {
      Signal x = band_profile(grey, a, along, length, ranked[i].second, thick, 2.5 * pixels);
      Found f = search(x, n0, 0.06);
      judge(x, f);
      if (!best || f.strength * f.coherence > best->found.strength * best->found.coherence) best = Candidate{f, std::move(x), period};
    }
    return best;
  };
  const auto good = [](const std::optional<Candidate>& c) { return c && c->found.coherence > 0.7 && c->found.contrast > 2.0; };
  std::optional<Candidate> chosen;
  const auto one = look(1);
  if (good(one)) {
    chosen = one;
    // Graduations every 2 mm make a strong second harmonic at 1 mm: the longer period in the same band wins.
    const double every_two = strength_at(one->signal, one->found.model, 0.5);
    if (every_two > 0.8 * one->found.strength)
      if (auto two = look(2); good(two)) chosen = two;
  } else {
    for (const double period : {0.5, 2.0, 25.4 / 16, 25.4 / 32, 5.0, 10.0}) {
      auto c = look(period);
      if (good(c) && (!chosen || c->found.strength > 1.3 * chosen->found.strength)) chosen = std::move(c);
    }
  }
  if (!chosen) return std::nullopt;

  // Phases of pieces against the model, least squares: count at a, count at b, q.
  const Signal& x = chosen->signal;
  Model m = chosen->found.model;
  double m0 = 0;
  const int windows = std::clamp(static_cast<int>(m.n / 2), 4, 24);
  Eigen::Matrix3d normal = Eigen::Matrix3d::Identity();
  double variance = 0;
  for (int round = 0; round < 6; ++round) {
    const auto amp = amplitudes(x, m, 1, windows);
    Complex mean = 0;
    for (const auto& v : amp) mean += v;
    const double common = std::arg(mean);
    normal.setZero();
    Eigen::Vector3d right = Eigen::Vector3d::Zero();
    double sum = 0, weights = 0;
    double largest = 0;
    for (const auto& v : amp) largest = std::max(largest, std::abs(v));
    for (int w = 0; w < windows; ++w) {
      const Complex v = amp[static_cast<std::size_t>(w)];
      const double delta = std::arg(v * std::polar(1.0, -common)) / tau;
      const double weight = std::abs(v) / largest * (std::abs(delta) < 0.2 ? 1 : 0.05), l = (w + 0.5) / windows;
      const double e = 1e-4;
      // Derivatives of the count by: a shift, n, q.
      const Eigen::Vector3d j(1, (Model{m.n + e, m.q}.count(l) - m.count(l)) / e, (Model{m.n, m.q + e}.count(l) - m.count(l)) / e);
      normal += weight * j * j.transpose();
      right += weight * j * delta;
      sum += weight * delta * delta;
      weights += weight;
    }
    variance = sum / std::max(weights * (windows - 3) / windows, 1e-9);
    normal(2, 2) += std::max(variance, 1e-5) / (q_prior_u * q_prior_u);
    right(2) += std::max(variance, 1e-5) / (q_prior_u * q_prior_u) * (0 - m.q);
    const Eigen::Vector3d step = normal.ldlt().solve(right);
    m0 = common / tau + step(0);
    m.n += step(1);
    m.q = std::clamp(m.q + step(2), -0.45, 0.6);
    if (std::abs(step(1)) < 1e-6 && std::abs(step(2)) < 1e-8) break;
  }
  const auto amp = amplitudes(x, m, 1, windows);
  Found last{m, 0, 0, 0};
  judge(x, last);
  if (last.coherence < 0.75 || last.contrast < 2) return std::nullopt;
  const Eigen::Matrix3d covariance = normal.inverse() * std::max(variance, 1e-5);
  Graduations out;
  out.period_mm = chosen->period;
  out.n = m.n;
  out.q = m.q;
  // A tick is where the narrow side of the profile lies: dark ticks have negative skew.
  double skew = 0;
  for (const double v : x) skew += v * v * v;
  const double at_a = m0 + (skew < 0 ? 0.5 : 0);
  out.m0 = at_a - std::round(at_a);
  out.u_n = std::sqrt(covariance(1, 1));
  out.u_q = std::sqrt(covariance(2, 2));
  out.cov_nq = covariance(1, 2);
  out.coherence = last.coherence;
  out.contrast = last.contrast;
  return out;
}

}  // namespace uroko::scale
