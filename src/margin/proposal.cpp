// What tells a wound's margin from the coat's pattern, a fin or a shadow: some twenty traits of the outline, of the colours on both sides and of the
// rest of the photo.
#include "margin/proposal.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "margin/colour_model.h"
#include "margin/crop.h"
#include "margin/finder.h"
#include "margin/raster.h"

namespace uroko::margin {
namespace {

constexpr int kSectors = 16;

struct Mean {
  cv::Vec3d sum{0, 0, 0}, squares{0, 0, 0};
  int n = 0;
  void add(const cv::Vec3f& c) {
    for (int k = 0; k < 3; ++k) sum[k] += c[k], squares[k] += static_cast<double>(c[k]) * c[k];
    ++n;
  }
  cv::Vec3d mean() const { return n ? sum / n : cv::Vec3d(0, 0, 0); }
  double sd(int k) const { return n ? std::sqrt(std::max(0.0, squares[k] / n - mean()[k] * mean()[k])) : 0; }
};

}  // namespace

ProposalTraits traits_of(const cv::Mat& bgr, const Searched& photo, const ImageOutline& outline, const ImageOutline& ignore, double mm_per_px) {
  ProposalTraits t{};
  t[0] = 1;
  const double radius = radius_of(outline);
  const Crop crop = make_crop(bgr, box_of(outline, 0.6), 160, 4);
  cv::Mat lab;
  lab_of(crop.bgr).convertTo(lab, CV_32FC3);
  const auto local = crop.in_crop(outline);
  const cv::Mat inside = filled(local, crop.bgr.size());
  cv::Mat outside = ~inside, depth, height;
  cv::distanceTransform(inside, depth, cv::DIST_L2, 5);
  cv::distanceTransform(outside, height, cv::DIST_L2, 5);
  cv::Mat banned(crop.bgr.size(), CV_8U, cv::Scalar(0));
  if (!ignore.empty()) banned = filled(crop.in_crop(ignore), crop.bgr.size());
  const double r = radius * crop.scale();
  const auto middle = centroid(local);
  Mean bed, near, far;
  std::array<Mean, kSectors> in, out;
  for (int y = 0; y < lab.rows; ++y)
    for (int x = 0; x < lab.cols; ++x) {
      const auto& c = lab.at<cv::Vec3f>(y, x);
      if (banned.at<uchar>(y, x)) continue;
      const int sector = static_cast<int>((std::atan2(y - middle.y, x - middle.x) / (2 * std::numbers::pi) + 1.0) * kSectors) % kSectors;
      if (inside.at<uchar>(y, x)) {
        bed.add(c);
        if (depth.at<float>(y, x) < 0.2 * r + 1) in[sector].add(c);
      } else {
        const double h = height.at<float>(y, x);
        if (h > 0.03 * r && h < 0.2 * r + 1.5) out[sector].add(c);
        if (h < 0.3 * r + 1) near.add(c);
        if (h > 0.3 * r && h < 0.8 * r) far.add(c);
      }
    }
  std::vector<double> steps, apart;
  Mean round;
  for (int k = 0; k < kSectors; ++k) {
    if (!in[k].n || !out[k].n) continue;
    const auto d = out[k].mean() - in[k].mean();
    steps.push_back(d[0]);
    apart.push_back(cv::norm(d));
    round.add(cv::Vec3f(static_cast<float>(out[k].mean()[0]), static_cast<float>(out[k].mean()[1]), static_cast<float>(out[k].mean()[2])));
  }
  if (steps.empty() || bed.n == 0) return t;
  std::sort(apart.begin(), apart.end());
  const auto& ring = outline.parts.front().outer;
  const double length = ring_length(ring), hull = [&] {
    std::vector<cv::Point2f> points, round_them;
    for (const auto& p : ring) points.emplace_back(static_cast<float>(p.x), static_cast<float>(p.y));
    cv::convexHull(points, round_them);
    return cv::contourArea(round_them);
  }();
  // Size: in millimetres where the scale is known, else against the photo.
  if (mm_per_px > 0) {
    t[1] = std::log(radius * mm_per_px / 9);
    t[2] = t[1] * t[1];
  } else {
    t[3] = std::log(area(outline) / (0.03 * static_cast<double>(bgr.total())));
    t[4] = t[3] * t[3];
  }
  // Shape: 1 for a circle; 1 for a convex one.
  t[5] = length > 0 ? 4 * std::numbers::pi * area(outline) / (length * length) : 0;
  t[6] = hull > 0 ? area(outline) / hull : 0;
  // Colour of the bed: redness (CIE a*), redness beyond yellowness, chroma; how mixed it is.
  const auto b = bed.mean();
  const double a = b[1] - 128, yellow = b[2] - 128;
  t[7] = a / 10;
  t[8] = (a - yellow) / 10;
  t[9] = std::hypot(a, yellow) / 10;
  t[10] = bed.sd(0) / 10;
  t[11] = (bed.sd(1) + bed.sd(2)) / 10;
  // The edge: lightness rising outward, all round; colours apart at the median and in the weaker quarter.
  double sum = 0;
  int rising = 0;
  for (const double s : steps) sum += s, rising += s > 2;
  t[12] = sum / static_cast<double>(steps.size()) / 10;
  t[13] = rising / static_cast<double>(steps.size());
  t[14] = std::log1p(apart[apart.size() / 2]);
  t[15] = std::log1p(apart[apart.size() / 4]);
  // Around: how much redder than further out; how uneven; redder inside than around.
  t[16] = near.n && far.n ? (near.mean()[1] - far.mean()[1]) / 10 : 0;
  t[17] = (round.sd(0) + round.sd(1) + round.sd(2)) / 10;
  t[18] = near.n ? (b[1] - near.mean()[1]) / 10 : 0;
  // Against the rest of the photo: a coat's patches come again elsewhere, a wound does not.
  const cv::Mat whole_in = filled(photo.crop.in_crop(outline), photo.lab.size());
  if (cv::countNonZero(whole_in) == 0) return t;
  const auto grown = [&](double by) {
    const int grow = std::max(1, static_cast<int>(std::lround(by * radius * photo.crop.scale())));
    cv::Mat out_mask;
    cv::dilate(whole_in, out_mask, cv::getStructuringElement(cv::MORPH_ELLIPSE, {2 * grow + 1, 2 * grow + 1}));
    return out_mask;
  };
  const cv::Mat elsewhere = ~(grown(0.4) | photo.ignored), beside = grown(0.7) & ~grown(0.15) & ~photo.ignored;
  if (cv::countNonZero(elsewhere) > 0) {
    cv::Mat w_in, w_out;
    whole_in.convertTo(w_in, CV_32F, 1.0 / 255);
    elsewhere.convertTo(w_out, CV_32F, 1.0 / 255);
    const cv::Mat odds = ColourModel(photo.lab, w_in, w_out).posterior(photo.lab);
    t[19] = cv::mean(odds, whole_in)[0] - cv::mean(odds, elsewhere)[0];
  }
  // A wound's colours, inside and beside.
  t[20] = cv::mean(photo.colour, whole_in)[0];
  t[21] = cv::countNonZero(beside) > 0 ? cv::mean(photo.colour, beside)[0] : 0;
  // People lay the reference beside the wound.
  if (!photo.away.empty()) {
    double least = 0;
    cv::minMaxLoc(photo.away, &least, nullptr, nullptr, nullptr, whole_in);
    t[22] = least / 160;
  }
  return t;
}

double likeness(const ProposalTraits& traits) {
  static constexpr ProposalTraits kWeights{-2.578, 1.658,  -0.533, -0.875, -0.390, 1.162,  -1.064, -0.235, -0.226, 0.254,  0.075, -0.672,
                                           0.107,  -1.646, -1.469, 2.144,  0.248,  -0.456, -0.156, 0.557,  6.726,  -3.115, -2.056};
  double z = 0;
  for (int k = 0; k < kProposalTraits; ++k) z += kWeights[k] * traits[k];
  return z;
}

}  // namespace uroko::margin
