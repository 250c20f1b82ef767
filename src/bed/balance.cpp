#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>
#include <vector>

#include "bed/light.h"
#include "uroko/base/median.h"
#include "uroko/bed/bed.h"

namespace uroko::bed {

namespace {

// 8-bit sRGB counts that still say how much light there was.
constexpr double kDarkest = 4, kBrightest = 251;
// A printed grey that reads outside these is not the grey that was printed: a shadow's edge, a finger, another card.
constexpr double kLeastGamma = 0.6, kMostGamma = 1.7, kLeastGain = 0.1, kMostGain = 12;

/// One grey in linear light (B, G, R).
struct Seen {
  std::array<double, 3> linear{};
  double lab_l = 0;
};

double mean_de00(const std::vector<Seen>& patches, const WhiteBalance& w) {
  double sum = 0;
  for (const auto& s : patches) {
    std::array<double, 3> light{};
    for (std::size_t c = 0; c < 3; ++c) light[c] = w.gain[c] * std::pow(s.linear[c], w.gamma[c]);
    sum += ciede2000(lab_from_linear(light[2], light[1], light[0]), {s.lab_l, 0, 0});
  }
  return sum / static_cast<double>(patches.size());
}

/// ln target = ln gain + gamma ln seen per channel, by least squares; gain alone for one patch.
WhiteBalance fitted(const std::vector<Seen>& patches) {
  WhiteBalance out;
  if (patches.empty()) return out;
  for (std::size_t c = 0; c < 3; ++c) {
    double n = 0, sx = 0, sy = 0, sxx = 0, sxy = 0;
    for (const auto& p : patches) {
      const double x = std::log(p.linear[c]), y = std::log(linear_from_lab({p.lab_l, 0, 0})[1]);
      n += 1, sx += x, sy += y, sxx += x * x, sxy += x * y;
    }
    const double spread = n * sxx - sx * sx;
    if (patches.size() > 1 && !(spread > 1e-6)) return {};
    out.gamma[c] = patches.size() > 1 ? (n * sxy - sx * sy) / spread : 1;
    out.gain[c] = std::exp((sy - out.gamma[c] * sx) / n);
    if (!(out.gamma[c] >= kLeastGamma && out.gamma[c] <= kMostGamma && out.gain[c] >= kLeastGain && out.gain[c] <= kMostGain)) return {};
  }
  out.from = WhiteBalance::From::patches;
  out.residual_de00 = mean_de00(patches, out);
  return out;
}

}  // namespace

WhiteBalance from_greys(const std::vector<GreySeen>& greys) {
  std::vector<Seen> seen;
  for (const auto& g : greys) {
    if (std::min({g.bgr[0], g.bgr[1], g.bgr[2]}) < kDarkest || std::max({g.bgr[0], g.bgr[1], g.bgr[2]}) > kBrightest) continue;
    seen.push_back({{linear_from_srgb(g.bgr[0] / 255), linear_from_srgb(g.bgr[1] / 255), linear_from_srgb(g.bgr[2] / 255)}, g.lab_l});
  }
  return fitted(seen);
}

WhiteBalance from_pick(const cv::Mat& bgr, const ImagePoint& neutral) {
  CV_Assert(bgr.type() == CV_8UC3);
  const int x = static_cast<int>(std::lround(neutral.x)), y = static_cast<int>(std::lround(neutral.y));
  const cv::Rect around = cv::Rect(x - 4, y - 4, 9, 9) & cv::Rect(0, 0, bgr.cols, bgr.rows);
  WhiteBalance out;
  if (around.empty() || !cv::Rect(0, 0, bgr.cols, bgr.rows).contains({x, y})) return out;
  std::array<std::vector<double>, 3> values;
  for (int j = around.y; j < around.br().y; ++j)
    for (int i = around.x; i < around.br().x; ++i)
      for (int c = 0; c < 3; ++c) values[static_cast<std::size_t>(c)].push_back(bgr.at<cv::Vec3b>(j, i)[c]);
  std::array<double, 3> light{};
  for (std::size_t c = 0; c < 3; ++c) {
    const double m = median(values[c]);
    if (m < kDarkest || m > kBrightest) return out;
    light[c] = linear_from_srgb(m / 255);
  }
  // The hue is corrected, the lightness is kept: how bright the pick should be is not known.
  const double y_light = 0.0721750 * light[0] + 0.7151522 * light[1] + 0.2126729 * light[2];
  for (std::size_t c = 0; c < 3; ++c) out.gain[c] = y_light / light[c];
  out.from = WhiteBalance::From::pick;
  return out;
}

Corrected::Corrected(const WhiteBalance& balance) {
  for (std::size_t c = 0; c < 3; ++c)
    for (int v = 0; v < 256; ++v) {
      const double light = linear_from_srgb(v / 255.0);
      linear_[c][static_cast<std::size_t>(v)] = static_cast<float>(light <= 0 ? 0 : balance.gain[c] * std::pow(light, balance.gamma[c]));
    }
}

cv::Mat balanced(const cv::Mat& bgr, const WhiteBalance& balance) {
  CV_Assert(bgr.type() == CV_8UC3);
  if (balance.from == WhiteBalance::From::none) return bgr.clone();
  const Corrected corrected(balance);
  cv::Mat lut(1, 256, CV_8UC3), out;
  for (int v = 0; v < 256; ++v)
    for (int c = 0; c < 3; ++c)
      lut.at<cv::Vec3b>(0, v)[c] = cv::saturate_cast<uchar>(255 * srgb_from_linear(std::min(1.0, double(corrected.linear(c, static_cast<uchar>(v))))));
  cv::LUT(bgr, lut, out);
  return out;
}

cv::Mat linear_image(const cv::Mat& bgr, const WhiteBalance& balance) {
  const Corrected corrected(balance);
  cv::Mat out(bgr.size(), CV_32FC3);
  for (int y = 0; y < bgr.rows; ++y)
    for (int x = 0; x < bgr.cols; ++x) {
      const auto& p = bgr.at<cv::Vec3b>(y, x);
      out.at<cv::Vec3f>(y, x) = {corrected.linear(0, p[0]), corrected.linear(1, p[1]), corrected.linear(2, p[2])};
    }
  return out;
}

cv::Mat lab_of_linear(const cv::Mat& linear) {
  cv::Mat out(linear.size(), CV_32FC3);
  cv::parallel_for_(cv::Range(0, out.rows), [&](const cv::Range& rows) {
    for (int y = rows.start; y < rows.end; ++y)
      for (int x = 0; x < out.cols; ++x) {
        const auto& c = linear.at<cv::Vec3f>(y, x);
        const auto lab = lab_from_linear(c[2], c[1], c[0]);
        out.at<cv::Vec3f>(y, x) = {static_cast<float>(lab.l), static_cast<float>(lab.a), static_cast<float>(lab.b)};
      }
  });
  return out;
}

cv::Mat lab_image(const cv::Mat& bgr, const WhiteBalance& balance) { return lab_of_linear(linear_image(bgr, balance)); }

}  // namespace uroko::bed
