#include "margin/coarse.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>
#include <opencv2/imgproc/detail/gcgraph.hpp>

#include "margin/band.h"
#include "margin/colour_model.h"
#include "margin/raster.h"

namespace uroko::margin {

namespace {

/// Depth below the loop at which the wound begins, in radii of the loop: for a loop a quarter of the wound's radius outside it is 0.2,
/// for 12 % 0.11, for 45 % 0.31.
constexpr double kUsualDepth = 0.19, kDepthSpread = 0.10;
constexpr double kDepths[] = {0.08, 0.12, 0.16, 0.20, 0.25, 0.30, 0.36};
constexpr double kDepthBlur = 0.04;   ///< how uneven the distance is, same unit
constexpr double kFloor = 0.02;       ///< least probability that the loop alone gives to either side
constexpr double kColourLimit = 2.5;  ///< log-odds beyond which a colour says no more
constexpr double kVote = 1;           ///< log-weight a unit of contrast
constexpr double kRiseVote = 3;       ///< a full step up in lightness outward, in units of contrast
constexpr int kTrialSide = 112;       ///< trials need no more pixels

/// Log-odds of wound against skin from the depth below the loop.
cv::Mat depth_odds(const cv::Mat& depth, const cv::Mat& loop, double at) {
  cv::Mat odds(depth.size(), CV_32F);
  for (int y = 0; y < depth.rows; ++y)
    for (int x = 0; x < depth.cols; ++x) {
      const double q = kFloor + (1 - 2 * kFloor) / (1 + std::exp(-(static_cast<double>(depth.at<float>(y, x)) - at) / kDepthBlur));
      odds.at<float>(y, x) = loop.at<uchar>(y, x) ? static_cast<float>(std::log(q / (1 - q))) : -20.f;
    }
  return odds;
}

cv::Mat logistic(const cv::Mat& odds) {
  cv::Mat e;
  cv::exp(-odds, e);
  return 1.0 / (1.0 + e);
}

struct Picture {
  cv::Mat lab, loop, depth, in, out;  ///< in, out: certain places, maybe empty
  double radius = 0, deepest = 0;

  Picture(const cv::Mat& lab_, const cv::Mat& loop_, const cv::Mat& in_, const cv::Mat& out_) : lab(lab_), loop(loop_), in(in_), out(out_) {
    cv::Mat wide;
    // Where the photo's rim cuts the loop the wound may go on beyond: no depth is lost there.
    cv::copyMakeBorder(loop, wide, 1, 1, 1, 1, cv::BORDER_REPLICATE);
    cv::distanceTransform(wide, depth, cv::DIST_L2, 5);
    depth = depth(cv::Rect(1, 1, loop.cols, loop.rows)).clone();
    radius = std::sqrt(cv::countNonZero(loop) / CV_PI);
    depth /= std::max(1.0, radius);
    cv::minMaxLoc(depth, nullptr, &deepest);
  }
  Picture reduced(int side) const {
    const double s = static_cast<double>(side) / std::max(lab.cols, lab.rows);
    if (s >= 1) return *this;
    const cv::Size size(std::max(8, cvRound(lab.cols * s)), std::max(8, cvRound(lab.rows * s)));
    const auto small = [&](const cv::Mat& m) {
      cv::Mat r;
      if (!m.empty()) cv::resize(m, r, size, 0, 0, cv::INTER_AREA);
      return r;
    };
    return Picture(small(lab), small(loop) > 127, in.empty() ? in : cv::Mat(small(in) > 60), out.empty() ? out : cv::Mat(small(out) > 60));
  }
  void pin(cv::Mat& odds) const {
    if (!in.empty()) odds.setTo(20, in);
    if (!out.empty()) odds.setTo(-20, out);
  }
};

/// Log-odds of the colours, learned from a belief in which pixels are wound.
cv::Mat colour_odds(const cv::Mat& lab, const cv::Mat& belief) {
  cv::Mat p = ColourModel(lab, belief, 1 - belief).posterior(lab), yes, no;
  cv::GaussianBlur(p, p, {}, 1);
  cv::log(p + 1e-6, yes);
  cv::log(1.000001 - p, no);
  return cv::max(cv::min(yes - no, kColourLimit), -kColourLimit);
}

/// Log-odds of colour and depth together, the colours learned from what the last round believed.
cv::Mat learned_odds(const Picture& picture, const cv::Mat& first_belief, const cv::Mat& depth, int rounds) {
  cv::Mat belief = first_belief, odds;
  for (int round = 0; round < rounds; ++round) {
    odds = colour_odds(picture.lab, belief) + depth;
    picture.pin(odds);
    belief = logistic(odds);
  }
  return odds;
}

/// Mean over the edge of the separation between both sides' colours (Fisher's, capped) and of its step up in lightness.
double edge_contrast(const cv::Mat& lab, const cv::Mat& belief) {
  cv::Mat smooth;
  cv::GaussianBlur(belief, smooth, {}, 1);
  const auto outline = outline_at(smooth, 0.5f, 10);
  if (outline.empty()) return -1;
  BandOptions options;
  options.half_width_px = 3;
  const auto band = settle(lab, {}, outline.parts.front().outer, options);
  double sum = 0;
  for (const double c : band.contrast) sum += std::min(c, 5.0);
  for (const double r : band.rise) sum += kRiseVote * r;
  return sum / static_cast<double>(band.contrast.size());
}

/// Boykov and Jolly's cut: log-odds a pixel, and between eight neighbours a price that falls with their contrast.
cv::Mat minimum_cut(const cv::Mat& lab, const cv::Mat& loop, const cv::Mat& odds) {
  constexpr float kPrice = 2.f, kLeast = 0.1f;
  const int w = odds.cols, h = odds.rows;
  cv::Mat smooth;
  cv::GaussianBlur(lab, smooth, {}, 0.7);
  const int dx[4] = {1, 0, 1, -1}, dy[4] = {0, 1, 1, 1};
  const auto difference2 = [&](int x, int y, int k) {
    const auto &a = smooth.at<cv::Vec3b>(y, x), &b = smooth.at<cv::Vec3b>(y + dy[k], x + dx[k]);
    const int l = a[0] - b[0], m = a[1] - b[1], n = a[2] - b[2];
    return static_cast<float>(l * l + m * m + n * n);
  };
  double sum = 0;
  int count = 0;
  for (int y = 0; y + 1 < h; ++y)
    for (int x = 0; x + 1 < w; ++x)
      if (loop.at<uchar>(y, x)) sum += static_cast<double>(difference2(x, y, 0) + difference2(x, y, 1)), count += 2;
  const float fall = static_cast<float>(count / (2 * sum + 1e-6));
  // Only pixels whose side is open become nodes; the rest is what the odds say.
  cv::Mat node(odds.size(), CV_32S, cv::Scalar(-1));
  int n = 0;
  for (int y = 0; y < h; ++y)
    for (int x = 0; x < w; ++x)
      if (odds.at<float>(y, x) > -19.f) node.at<int>(y, x) = n++;
  if (n == 0) return {};
  cv::detail::GCGraph<float> graph(static_cast<unsigned>(n), static_cast<unsigned>(8 * n));
  for (int y = 0; y < h; ++y)
    for (int x = 0; x < w; ++x) {
      if (node.at<int>(y, x) < 0) continue;
      const int v = graph.addVtx();
      const float u = odds.at<float>(y, x);
      graph.addTermWeights(v, std::max(u, 0.f), std::max(-u, 0.f));
    }
  for (int y = 0; y < h; ++y)
    for (int x = 0; x < w; ++x)
      for (int k = 0; k < 4; ++k) {
        const int tx = x + dx[k], ty = y + dy[k];
        if (tx < 0 || tx >= w || ty >= h) continue;
        const int a = node.at<int>(y, x), b = node.at<int>(ty, tx);
        if (a < 0 && b < 0) continue;
        const float price = kPrice * std::exp(-fall * difference2(x, y, k)) / (k < 2 ? 1.f : 1.41421356f) + kLeast;
        if (a >= 0 && b >= 0)
          graph.addEdges(a, b, price, price);
        else
          graph.addTermWeights(std::max(a, b), 0, price);
      }
  graph.maxFlow();
  cv::Mat found = cv::Mat::zeros(odds.size(), CV_8U);
  for (int y = 0; y < h; ++y)
    for (int x = 0; x < w; ++x)
      if (const int v = node.at<int>(y, x); v >= 0 && graph.inSourceSegment(v)) found.at<uchar>(y, x) = 255;
  return found;
}

}  // namespace

cv::Mat largest_part(const cv::Mat& mask, bool keep_holes) {
  cv::Mat labels, stats, centres;
  const int n = cv::connectedComponentsWithStats(mask, labels, stats, centres, 4);
  int best = 0, most = 0;
  for (int i = 1; i < n; ++i)
    if (stats.at<int>(i, cv::CC_STAT_AREA) > most) most = stats.at<int>(i, cv::CC_STAT_AREA), best = i;
  if (!best) return {};
  cv::Mat part = labels == best;
  if (keep_holes) return part;
  // What the outside cannot reach is inside.
  cv::Mat wide;
  cv::copyMakeBorder(part, wide, 1, 1, 1, 1, cv::BORDER_CONSTANT, 0);
  cv::floodFill(wide, {0, 0}, 128);
  return wide(cv::Rect(1, 1, part.cols, part.rows)) != 128;
}

cv::Mat coarse_in_loop(const cv::Mat& lab, const cv::Mat& loop, const cv::Mat& certain_in, const cv::Mat& certain_out) {
  const Picture full(lab, loop, certain_in, certain_out);
  if (cv::countNonZero(loop) < 8 || cv::countNonZero(loop == 0) < 4) return {};
  const Picture small = full.reduced(kTrialSide);
  std::vector<std::pair<double, cv::Mat>> trials;
  std::vector<double> depths;
  double best = -1e300;
  for (double depth : kDepths) {
    if (depth > kDepths[0] && depth > 0.7 * small.deepest) break;
    depth = std::min(depth, 0.6 * small.deepest);
    cv::Mat prior = depth_odds(small.depth, small.loop, depth);
    small.pin(prior);
    const cv::Mat belief = logistic(learned_odds(small, logistic(prior), prior, 3));
    const double contrast = edge_contrast(small.lab, belief), off = (depth - kUsualDepth) / kDepthSpread;
    if (contrast < 0) continue;
    trials.push_back({kVote * contrast - 0.5 * off * off, belief});
    depths.push_back(depth);
    best = std::max(best, trials.back().first);
  }
  if (trials.empty()) return {};
  // The trials' beliefs and depths, averaged by weight, start one last round on the full crop.
  cv::Mat belief = cv::Mat::zeros(small.loop.size(), CV_32F), prior = cv::Mat::zeros(lab.size(), CV_32F);
  double total = 0;
  for (std::size_t i = 0; i < trials.size(); ++i) {
    const double weight = std::exp(trials[i].first - best);
    belief += weight * trials[i].second;
    if (weight > 0.02) prior += weight * depth_odds(full.depth, full.loop, depths[i]), total += weight;
  }
  prior /= total;
  full.pin(prior);
  cv::resize(belief / total, belief, lab.size(), 0, 0, cv::INTER_LINEAR);
  belief = cv::min(belief, 1.0);
  belief.setTo(0, full.loop == 0);
  return minimum_cut(lab, full.loop, learned_odds(full, belief, prior, 1));
}

cv::Mat cut_about_ring(const cv::Mat& lab, const Ring<ImagePoint>& ring, double doubt_px) {
  const cv::Mat inside = filled({{{ring, {}}}}, lab.size());
  cv::Mat in, out;
  cv::distanceTransform(inside, in, cv::DIST_L2, 5);
  cv::distanceTransform(~inside, out, cv::DIST_L2, 5);
  const cv::Mat prior = cv::max(cv::min((in - out) * (1.7 / std::max(0.5, doubt_px)), 1.5), -20);
  return coarse_from_prior(lab, prior);
}

cv::Mat coarse_from_prior(const cv::Mat& lab, const cv::Mat& prior) {
  constexpr int kRounds = 2;
  cv::Mat belief = logistic(prior), odds = prior;
  for (int round = 0; round < kRounds; ++round) {
    odds = colour_odds(lab, belief) + prior;
    belief = logistic(odds);
  }
  return minimum_cut(lab, cv::Mat(prior > -19), odds);
}

}  // namespace uroko::margin
