// The neighbourhood of a ring unwrapped, and how likely the margin passes at each of its places, by a small fitted net.
#include "margin/rays.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "margin/colour_model.h"
#include "margin/raster.h"
#include "margin/rings.h"

namespace uroko::margin {

namespace {

constexpr int kPad = 9;        ///< cells beyond the first and the last state
constexpr int kFeatures = 46;
enum Channel { L, A, B, Odds, Seen, kChannels };

cv::Vec3f weighted_mean(const cv::Mat& lab, const cv::Mat& weight) {
  double w = 0, s[3] = {0, 0, 0};
  for (int y = 0; y < lab.rows; ++y)
    for (int x = 0; x < lab.cols; ++x) {
      const double k = static_cast<double>(weight.at<float>(y, x));
      if (k <= 0) continue;
      w += k;
      for (int c = 0; c < 3; ++c) s[c] += k * lab.at<cv::Vec3b>(y, x)[c];
    }
  w = std::max(w, 1e-9);
  return {static_cast<float>(s[0] / w), static_cast<float>(s[1] / w), static_cast<float>(s[2] / w)};
}

/// Mean over `reach` rays each way, round the ring.
Grid along(const Grid& g, int reach) {
  Grid out(g.n, g.m);
  reach = std::min(reach, (g.n - 1) / 2);
  const float share = 1.f / static_cast<float>(2 * reach + 1);
  const auto row = [&](int i) { return g.v.data() + static_cast<std::ptrdiff_t>((i + g.n) % g.n) * g.m; };
  std::vector<float> sum(static_cast<std::size_t>(g.m), 0.f);
  for (int i = -reach; i <= reach; ++i)
    for (int k = 0; k < g.m; ++k) sum[static_cast<std::size_t>(k)] += row(i)[k];
  for (int i = 0; i < g.n; ++i) {
    const float *next = row(i + reach + 1), *last = row(i - reach);
    for (int k = 0; k < g.m; ++k) {
      float& s = sum[static_cast<std::size_t>(k)];
      out.at(i, k) = s * share;
      s += next[k] - last[k];
    }
  }
  return out;
}

/// Sums along each ray, so that the mean of any stretch is one subtraction.
Grid cumulated(const Grid& g) {
  Grid out(g.n, g.m + 1);
  for (int i = 0; i < g.n; ++i)
    for (int k = 0; k < g.m; ++k) out.at(i, k + 1) = out.at(i, k) + g.at(i, k);
  return out;
}
float mean_of(const Grid& sums, int i, int from, int to) {
  from = std::clamp(from, 0, sums.m - 2);
  to = std::clamp(to, from + 1, sums.m - 1);
  return (sums.at(i, to) - sums.at(i, from)) / static_cast<float>(to - from);
}

float soft(float x) { return x / std::sqrt(1 + x * x); }

}  // namespace

int feature_count() { return kFeatures; }

Evidence evidence_of(const cv::Mat& lab, const cv::Mat& inside, const cv::Mat& outside) {
  constexpr double kLimit = 3;  // log-odds beyond which a colour says no more
  Evidence e;
  e.lab = lab;
  e.odds = colour_odds(lab, inside, outside, kLimit);
  e.wound = weighted_mean(lab, inside);
  e.skin = weighted_mean(lab, outside);
  return e;
}

Rays unwrap(const Evidence& evidence, const cv::Mat& depth, const Ring<ImagePoint>& start, const RayOptions& options) {
  Rays r;
  const double length = ring_length(start);
  r.radius_px = radius_of(start);
  r.n = std::clamp(static_cast<int>(std::lround(length / (options.spacing * r.radius_px))), 48, 600);
  r.m = options.states;
  r.unit_px = (options.outside + options.inside) * r.radius_px / (options.states - 1);
  r.from_px = -options.outside * r.radius_px;
  r.spacing_px = length / r.n;
  r.ring = resampled(start, r.n);
  r.wound = evidence.wound;
  r.skin = evidence.skin;
  const auto outward = outward_normals(r.ring);
  const int n = r.n, M = r.m + 2 * kPad;
  for (int i = 0; i < n; ++i) {
    Eigen::Vector2d sum = Eigen::Vector2d::Zero();
    for (int k = -3; k <= 3; ++k) sum -= outward[static_cast<std::size_t>((i + k + n) % n)];
    r.inward.push_back(sum.norm() > 1e-6 ? Eigen::Vector2d(sum.normalized()) : Eigen::Vector2d(-outward[static_cast<std::size_t>(i)]));
  }
  const auto size = evidence.lab.size();
  r.channels.assign(kChannels, Grid(n, M));
  r.limit.assign(static_cast<std::size_t>(n), r.m);
  r.on_frame.assign(static_cast<std::size_t>(n), 0);
  for (int i = 0; i < n; ++i) {
    const auto u = static_cast<std::size_t>(i);
    const auto &p = r.ring[u], out = ImagePoint{p.x - 2.5 * r.inward[u].x(), p.y - 2.5 * r.inward[u].y()};
    r.on_frame[u] = out.x < -0.5 || out.y < -0.5 || out.x > size.width - 0.5 || out.y > size.height - 0.5;
    for (int k = 0; k < M; ++k) {
      const double o = r.from_px + (k - kPad + 0.5) * r.unit_px, x = p.x + o * r.inward[u].x(), y = p.y + o * r.inward[u].y();
      const auto c = sample<cv::Vec3f, cv::Vec3b>(evidence.lab, x, y);
      for (int ch = 0; ch < 3; ++ch) r.channels[static_cast<std::size_t>(ch)].at(i, k) = c[ch];
      r.channels[Odds].at(i, k) = sample<float, float>(evidence.odds, x, y);
      const int px = static_cast<int>(std::lround(x)), py = static_cast<int>(std::lround(y));
      const bool seen = px >= 0 && py >= 0 && px < size.width && py < size.height;
      r.channels[Seen].at(i, k) = seen ? 1.f : 0.f;
      const int state = k - kPad;
      if (state > 0 && state < r.limit[u] && o > 0.12 * r.radius_px) {
        const double d = seen ? static_cast<double>(depth.at<float>(py, px)) : 0;
        if (d < 0.6 * o - 1.5) r.limit[u] = state;
      }
    }
  }
  return r;
}

Eigen::MatrixXf features_of(const Rays& r, const std::vector<char>* wanted) {
  const int n = r.n, m = r.m;
  constexpr int kScales[4] = {1, 2, 4, 8}, kReach[4] = {1, 1, 2, 4};
  constexpr float kUnit[3] = {25, 12, 12};
  const auto rays = wanted ? std::count(wanted->begin(), wanted->end(), 1) : n;
  Eigen::MatrixXf f = Eigen::MatrixXf::Zero(kFeatures, static_cast<Eigen::Index>(rays) * m);
  // Sums along the rays of each channel, averaged over a few rays: [reach 1, 2, 4].
  std::vector<std::vector<Grid>> sums;
  for (const int reach : {1, 2, 4}) {
    std::vector<Grid> of;
    of.reserve(5);
    for (int c = 0; c < 5; ++c) of.push_back(cumulated(along(r.channels[static_cast<std::size_t>(c)], reach)));
    sums.push_back(std::move(of));
  }
  Grid square(n, m + 2 * kPad);
  for (std::size_t k = 0; k < square.v.size(); ++k) square.v[k] = r.channels[L].v[k] * r.channels[L].v[k];
  const Grid squares = cumulated(along(square, 2));
  const auto reach_of = [](int reach) { return static_cast<std::size_t>(reach == 1 ? 0 : reach == 2 ? 1 : 2); };
  // Skin just outside, place by place.
  std::vector<Grid> skin;
  for (int c = 0; c < 3; ++c) {
    Grid g(n, 1);
    const Grid sum = cumulated(r.channels[static_cast<std::size_t>(c)]);
    for (int i = 0; i < n; ++i) g.at(i, 0) = mean_of(sum, i, 0, kPad - 1);
    skin.push_back(along(g, 6));
  }
  Grid rise(n, m), steep(n, m), odds_step(n, m);
  for (int i = 0; i < n; ++i)
    for (int k = 0; k < m; ++k) {
      const int q = k + kPad;
      float g = 0;
      for (int c = 0; c < 3; ++c) {
        const auto& s = sums[0][static_cast<std::size_t>(c)];
        const float d = (mean_of(s, i, q, q + 2) - mean_of(s, i, q - 2, q)) / kUnit[c];
        g += d * d;
        if (c == 0) rise.at(i, k) = -d;
      }
      steep.at(i, k) = std::sqrt(g);
      const auto& s = sums[1][Odds];
      odds_step.at(i, k) = (mean_of(s, i, q, q + 4) - mean_of(s, i, q - 4, q)) / 2;
    }
  const Grid wide_rise = along(rise, 8);
  // What stands out at the same depth all round.
  std::vector<float> common[3];
  const Grid* profiles[3] = {&rise, &steep, &odds_step};
  for (int p = 0; p < 3; ++p) {
    common[p].assign(static_cast<std::size_t>(m), 0.f);
    float high = 1e-6f;
    for (int k = 0; k < m; ++k) {
      float sum = 0, count = 0;
      for (int i = 0; i < n; ++i)
        if (k < r.limit[static_cast<std::size_t>(i)]) sum += std::clamp(profiles[p]->at(i, k), -1.5f, 1.5f), ++count;
      common[p][static_cast<std::size_t>(k)] = count > 0.25f * static_cast<float>(n) ? sum / count : 0;
      high = std::max(high, std::abs(common[p][static_cast<std::size_t>(k)]));
    }
    for (auto& v : common[p]) v /= std::max(high, 0.02f);
  }
  const float darker = r.skin[0] >= r.wound[0] ? 1.f : -1.f;
  float* out = f.data();
  for (int i = 0; i < n; ++i) {
    if (wanted && !(*wanted)[static_cast<std::size_t>(i)]) continue;
    const int limit = r.limit[static_cast<std::size_t>(i)];
    float top_rise = 1e-3f, top_steep = 1e-3f;
    for (int k = 0; k < limit; ++k) top_rise = std::max(top_rise, rise.at(i, k)), top_steep = std::max(top_steep, steep.at(i, k));
    // Greatest step outward of here and inward of here, two cells apart from it.
    std::vector<float> before_rise(static_cast<std::size_t>(m), 0.f), after_rise = before_rise, before_steep = before_rise, after_steep = before_rise;
    for (int k = 3; k < m; ++k) {
      const auto u = static_cast<std::size_t>(k);
      before_rise[u] = std::max(before_rise[u - 1], rise.at(i, k - 3));
      before_steep[u] = std::max(before_steep[u - 1], steep.at(i, k - 3));
    }
    for (int k = m - 4; k >= 0; --k) {
      const auto u = static_cast<std::size_t>(k);
      after_rise[u] = std::max(after_rise[u + 1], k + 3 < limit ? rise.at(i, k + 3) : 0.f);
      after_steep[u] = std::max(after_steep[u + 1], k + 3 < limit ? steep.at(i, k + 3) : 0.f);
    }
    for (int k = 0; k < m; ++k, out += kFeatures) {
      const auto u = static_cast<std::size_t>(k);
      const int q = k + kPad;
      int at = 0;
      const auto put = [&](float v) { out[at++] = v; };
      for (int s = 0; s < 4; ++s)
        for (int c = 0; c < 3; ++c) {
          const auto& sum = sums[reach_of(kReach[s])][static_cast<std::size_t>(c)];
          put(soft((mean_of(sum, i, q, q + kScales[s]) - mean_of(sum, i, q - kScales[s], q)) / kUnit[c]));
        }
      const auto& odds = sums[0][Odds];
      for (const int s : {2, 4, 8}) put((mean_of(odds, i, q, q + s) - mean_of(odds, i, q - s, q)) / 3);
      put(mean_of(odds, i, q, q + 12) / 2);
      put(mean_of(odds, i, q - 12, q) / 2);
      put(mean_of(odds, i, kPad, std::max(q, kPad + 1)) / 2);
      put(mean_of(odds, i, q, std::max(q + 1, std::min(limit, m) + kPad)) / 2);
      float skin_out = 0, skin_in = 0, wound_out = 0, wound_in = 0, drift[6];
      for (int c = 0; c < 3; ++c) {
        const auto& sum = sums[0][static_cast<std::size_t>(c)];
        const float in = mean_of(sum, i, q, q + 3), ou = mean_of(sum, i, q - 3, q), sk = skin[static_cast<std::size_t>(c)].at(i, 0);
        drift[c] = soft((ou - sk) / kUnit[c]);
        drift[c + 3] = soft((in - sk) / kUnit[c]);
        skin_out += std::pow((ou - sk) / kUnit[c], 2.f), skin_in += std::pow((in - sk) / kUnit[c], 2.f);
        wound_out += std::pow((ou - r.wound[c]) / kUnit[c], 2.f), wound_in += std::pow((in - r.wound[c]) / kUnit[c], 2.f);
      }
      for (const float v : {skin_out, skin_in, wound_out, wound_in}) put(soft(std::sqrt(v) / 2));
      for (const float v : drift) put(v);
      put(soft(before_rise[u]));
      put(soft(after_rise[u]));
      put(rise.at(i, k) / top_rise);
      put(soft(before_steep[u]));
      put(soft(after_steep[u]));
      put(steep.at(i, k) / top_steep);
      const float depth = static_cast<float>(r.depth_px(k) / r.radius_px);
      put(2 * depth);
      put(4 * depth * depth);
      put(static_cast<float>(k) / static_cast<float>(std::max(1, limit)));
      for (int p = 0; p < 3; ++p) put(common[p][u]);
      const auto spread = [&](int from, int to) {
        const float mean = mean_of(sums[1][L], i, from, to);
        return std::sqrt(std::max(0.f, mean_of(squares, i, from, to) - mean * mean));
      };
      const float rough_in = spread(q + 1, q + 7), rough_out = spread(q - 7, q - 1);
      put(soft((rough_in - rough_out) / 8));
      put(soft(rough_out / 8));
      put(1 - mean_of(sums[0][Seen], i, q - 2, q + 2));
      put(darker * soft(rise.at(i, k)));
      put(soft(wide_rise.at(i, k)));
    }
  }
  return f;
}

Eigen::VectorXf scores(const RayModel& model, const Eigen::MatrixXf& f) {
  return ((model.w * f).colwise() + model.b).cwiseMax(0.f).transpose() * model.v;
}

Eigen::VectorXf scores_where(const RayModel& model, const Rays& rays, const std::vector<char>& wanted) {
  const Eigen::VectorXf some = scores(model, features_of(rays, &wanted));
  Eigen::VectorXf all = Eigen::VectorXf::Zero(static_cast<Eigen::Index>(rays.n) * rays.m);
  for (Eigen::Index i = 0, at = 0; i < rays.n; ++i)
    if (wanted[static_cast<std::size_t>(i)]) all.segment(i * rays.m, rays.m) = some.segment(rays.m * at++, rays.m);
  return all;
}

RayMargin follow(const Rays& r, const Eigen::VectorXf& scores, double stiffness, double sharpness) {
  constexpr float kNever = 12;
  Grid cost(r.n, r.m);
  RayMargin out;
  std::vector<double> norm(static_cast<std::size_t>(r.n));
  for (int i = 0; i < r.n; ++i) {
    const auto u = static_cast<std::size_t>(i);
    const auto score = [&](int k) { return sharpness * static_cast<double>(scores[static_cast<Eigen::Index>(i) * r.m + k]); };
    double high = -1e300, sum = 0;
    for (int k = 0; k < r.limit[u]; ++k) high = std::max(high, score(k));
    for (int k = 0; k < r.limit[u]; ++k) sum += std::exp(score(k) - high);
    // cppcheck-suppress invalidFunctionArg ; the largest term is 1
    norm[u] = high + std::log(sum);
    for (int k = 0; k < r.m; ++k) {
      if (r.on_frame[u])
        cost.at(i, k) = static_cast<float>(std::min(4.0, std::abs(r.depth_px(k)) / r.unit_px));
      else
        cost.at(i, k) = k < r.limit[u] ? std::min(kNever, static_cast<float>(norm[u] - score(k))) : kNever;
    }
  }
  std::vector<float> jump;
  const int reach = std::max(2, static_cast<int>(std::lround(1.6 * r.spacing_px / r.unit_px)));
  for (int d = 0; d <= reach; ++d) {
    const double slope = d * r.unit_px / r.spacing_px;
    jump.push_back(static_cast<float>(stiffness * (slope * slope + 0.2 * slope)));
  }
  const auto chain = solve(cost, jump);
  double clear = 0;
  for (int i = 0; i < r.n; ++i) {
    const auto u = static_cast<std::size_t>(i);
    const double path = chain.path[u];
    out.state.push_back(std::clamp(chain.mean[u], path - 2, path + 2));
    out.doubt_px.push_back(std::max(0.1, chain.sd[u] * r.unit_px));
    clear += std::log(static_cast<double>(r.m)) - static_cast<double>(cost.at(i, chain.path[u]));
  }
  out.clarity = clear / r.n;
  const auto state = out.state;
  for (int i = 0; i < r.n; ++i) {
    const auto u = static_cast<std::size_t>(i), a = static_cast<std::size_t>((i + r.n - 1) % r.n), b = static_cast<std::size_t>((i + 1) % r.n);
    out.state[u] = 0.25 * state[a] + 0.5 * state[u] + 0.25 * state[b];
    out.ring.push_back(r.at(i, out.state[u]));
  }
  return out;
}

namespace {

/// Distance below the ring (above it negative), in its radii.
cv::Mat depth_below(const Ring<ImagePoint>& ring, const cv::Size& size) {
  const cv::Mat inside = filled({{{ring, {}}}}, size);
  cv::Mat wide, below, above;
  cv::copyMakeBorder(inside, wide, 1, 1, 1, 1, cv::BORDER_REPLICATE);
  cv::distanceTransform(wide, below, cv::DIST_L2, 5);
  cv::distanceTransform(~wide, above, cv::DIST_L2, 5);
  const cv::Mat depth = (below - above) / radius_of(ring);
  return depth(cv::Rect({1, 1}, size));
}
cv::Mat weight_where(const cv::Mat& yes) {
  cv::Mat w;
  yes.convertTo(w, CV_32F, 1.0 / 255);
  return w;
}

}  // namespace

Rays rays_about(const cv::Mat& lab, const Ring<ImagePoint>& ring, const RayOptions& options) {
  const cv::Mat depth = depth_below(ring, lab.size());
  double deepest = 0;
  cv::minMaxLoc(depth, nullptr, &deepest);
  return unwrap(evidence_of(lab, weight_where(depth > std::min(options.wound_below, options.wound_share * deepest)),
                            weight_where((depth < options.skin_from) & (depth > options.skin_to))),
                cv::max(depth, 0) * radius_of(ring), ring, options);
}

}  // namespace uroko::margin
