#include "margin/coarse.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>
#include <opencv2/imgproc/detail/gcgraph.hpp>

#include "margin/colour_model.h"
#include "margin/raster.h"

namespace uroko::margin {

namespace {

constexpr double kColourLimit = 2.5;  ///< log-odds beyond which a colour says no more

cv::Mat logistic(const cv::Mat& odds) {
  cv::Mat e;
  cv::exp(-odds, e);
  return 1.0 / (1.0 + e);
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
    odds = colour_odds(lab, belief, 1 - belief, kColourLimit) + prior;
    belief = logistic(odds);
  }
  return minimum_cut(lab, cv::Mat(prior > -19), odds);
}

}  // namespace uroko::margin
