#include "margin/coarse.h"

#include <opencv2/imgproc.hpp>
#include <opencv2/imgproc/detail/gcgraph.hpp>

#include "margin/colour_model.h"
#include "margin/geodesic.h"
#include "margin/band.h"
#include "margin/raster.h"

namespace uroko::margin {

static double tune(const char* n, double d) { const char* e = getenv(n); return e ? atof(e) : d; }

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

cv::Mat coarse_in_loop(const cv::Mat&, const cv::Mat& lab, const cv::Mat& loop, std::uint64_t) {
  cv::Mat depth;
  {
    cv::Mat wide;
    cv::copyMakeBorder(loop, wide, 1, 1, 1, 1, cv::BORDER_REPLICATE);
    cv::distanceTransform(wide, depth, cv::DIST_L2, 5);
    depth = depth(cv::Rect(1, 1, loop.cols, loop.rows)).clone();
  }
  const double R = std::sqrt(cv::countNonZero(loop) / CV_PI);
  depth /= R;
  double deepest = 0;
  cv::minMaxLoc(depth, nullptr, &deepest);
  const double T0 = tune("T0", 0.19), TAU = tune("TAU", 0.05), FLOOR = tune("FLOOR", 0.02), A = tune("A", 1.0), B = tune("B", 1.0), CLAMP = tune("CLAMP", 2.5), GAM = tune("GAM", 2), BETA=tune("BETA",1), SB=tune("SB",1);
  static const double G0 = tune("G0",.1); const int ITER = tune("ITER", 3);

  cv::Mat logit_q(loop.size(), CV_32F), belief(loop.size(), CV_32F, cv::Scalar(0));
  const auto set_prior = [&](double c, double tau) {
    for (int y = 0; y < loop.rows; ++y)
      for (int x = 0; x < loop.cols; ++x) {
        double q = FLOOR + (1 - 2 * FLOOR) / (1 + std::exp(-(depth.at<float>(y, x) - c) / tau));
        logit_q.at<float>(y, x) = std::log(q / (1 - q));
        if (!loop.at<uchar>(y, x)) logit_q.at<float>(y, x) = -20;
      }
  };
  const auto logistic = [](const cv::Mat& u, cv::Mat& b) { cv::Mat e; cv::exp(-u, e); b = 1.0 / (1.0 + e); };
  cv::Mat colour, unary, best_unary;
  double best = -1e300; std::vector<std::pair<double, cv::Mat>> hyp;
  std::vector<double> tries; 
  if (tune("HYP",1)>0) tries={.08,.12,.16,.20,.25,.30,.36}; else tries={T0};
  for (double t0 : tries) {
    if (t0 > .7*deepest && t0 > .081) continue;
    t0=std::min(t0,.6*deepest);
    set_prior(t0, TAU);
    logistic(logit_q, belief);
    for (int it = 0; it < ITER; ++it) {
      cv::Mat p = ColourModel(lab, belief, 1 - belief).posterior(lab);
      if (SB > 0) cv::GaussianBlur(p, p, {}, SB);
      cv::Mat l1, l0; cv::log(p + 1e-6, l1); cv::log(1.000001 - p, l0);
      colour = cv::max(cv::min(l1 - l0, CLAMP), -CLAMP);
      unary = A * colour + B * logit_q;
      logistic(unary, belief);
    }
    double score = 0;
    if (tries.size() > 1) {
      cv::Mat sm; cv::GaussianBlur(belief, sm, {}, 1);
      auto o = outline_at(sm, .5f, 10);
      if (o.empty()) continue;
      BandOptions bo; bo.half_width_px = tune("HW",4); bo.spacing_px = 2;
      auto band = settle(lab, {}, o.parts[0].outer, bo);
      double c = 0; for (double v : band.contrast) c += std::min(v, tune("CAP",5)); c /= band.contrast.size();
      double z = (t0 - T0) / tune("SPREAD", .1);
      score = c*tune("EW",1) - z * z / 2;
      if(getenv("SHOW")) printf("  t0 %.2f contrast %.3f area %.3f\n", t0, c, area(o)/(CV_PI*R*R));
    }
    hyp.push_back({score, unary.clone()}); best = std::max(best, score);
  }
  if (hyp.empty()) return {};
  { double sum = 0; unary = cv::Mat::zeros(loop.size(), CV_32F); for (auto& [v, u] : hyp) { double w = std::exp(v - best); sum += w; unary += w * u; } unary /= sum; }
  // graph cut
  const int w = loop.cols, h = loop.rows;
  cv::detail::GCGraph<float> g(w * h, 8 * w * h);
  cv::Mat labf; cv::Mat sm; cv::GaussianBlur(lab, sm, {}, 0.7); sm.convertTo(labf, CV_32FC3);
  double mean2 = 0; long cnt = 0;
  const int dx[4] = {1, 0, 1, -1}, dy[4] = {0, 1, 1, 1};
  auto diff2 = [&](int x, int y, int k) { cv::Vec3f d = labf.at<cv::Vec3f>(y, x) - labf.at<cv::Vec3f>(y + dy[k], x + dx[k]); return (double)d.dot(d); };
  for (int y = 0; y < h - 1; ++y) for (int x = 1; x < w - 1; ++x) if (loop.at<uchar>(y, x)) for (int k = 0; k < 2; ++k) mean2 += diff2(x, y, k), ++cnt;
  const double beta = BETA / (2 * mean2 / std::max(1L, cnt) + 1e-6);
  for (int y = 0; y < h; ++y) for (int x = 0; x < w; ++x) { int v = g.addVtx(); float u = unary.at<float>(y, x); if (u > 0) g.addTermWeights(v, u, 0); else g.addTermWeights(v, 0, -u); }
  for (int y = 0; y < h; ++y) for (int x = 0; x < w; ++x) for (int k = 0; k < 4; ++k) {
    int X = x + dx[k], Y = y + dy[k]; if (X < 0 || X >= w || Y >= h) continue;
    float c = GAM * std::exp(-beta * diff2(x, y, k)) / (k < 2 ? 1 : 1.41421356); c += G0;
    g.addEdges(y * w + x, Y * w + X, c, c);
  }
  g.maxFlow();
  cv::Mat found(loop.size(), CV_8U);
  for (int y = 0; y < h; ++y) for (int x = 0; x < w; ++x) found.at<uchar>(y, x) = g.inSourceSegment(y * w + x) ? 255 : 0;
  return found;
}

}  // namespace uroko::margin
