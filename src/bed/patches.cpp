#include <algorithm>
#include <cmath>
#include <optional>

#include "uroko/base/median.h"
#include "uroko/bed/bed.h"
#include "uroko/scale/card.h"

namespace uroko::bed {

namespace {

std::optional<GreySeen> read_patch(const cv::Mat& bgr, const scale::PlaneMap& map, const scale::CardLayout::Patch& patch) {
  // The middle 70 %: the print's edge, its blur and a slightly wrong map stay outside. 15 x 15 places.
  constexpr int n = 15;
  std::array<std::vector<double>, 3> values;
  int clipped = 0;
  for (int j = 0; j < n; ++j)
    for (int i = 0; i < n; ++i) {
      const double u = 0.15 + 0.7 * i / (n - 1), v = 0.15 + 0.7 * j / (n - 1);
      const auto p = map.to_image(PlanePoint{patch.x + u * patch.w, patch.y + v * patch.h});
      if (!(p.x > -0.5 && p.y > -0.5 && p.x < bgr.cols - 0.5 && p.y < bgr.rows - 0.5)) return std::nullopt;
      const auto& pixel = bgr.at<cv::Vec3b>(static_cast<int>(std::lround(p.y)), static_cast<int>(std::lround(p.x)));
      for (int c = 0; c < 3; ++c) values[static_cast<std::size_t>(c)].push_back(pixel[c]);
      clipped += std::max({pixel[0], pixel[1], pixel[2]}) > 251 || std::min({pixel[0], pixel[1], pixel[2]}) < 4;
    }
  if (clipped > n * n / 5) return std::nullopt;
  GreySeen out{patch.lab_l, {}};
  for (std::size_t c = 0; c < 3; ++c) {
    out.bgr[c] = median(values[c]);
    std::vector<double> spread = values[c];
    for (auto& s : spread) s = std::abs(s - out.bgr[c]);
    if (1.4826 * median(spread) > 14) return std::nullopt;  // not one flat grey: a finger, a shadow's edge
  }
  return out;
}

}  // namespace

WhiteBalance from_patches(const cv::Mat& bgr, const scale::PlaneMap& map) {
  CV_Assert(bgr.type() == CV_8UC3);
  std::vector<GreySeen> seen;
  for (const auto& patch : scale::card_layout().patches)
    if (const auto s = read_patch(bgr, map, patch)) seen.push_back(*s);
  const auto out = from_greys(seen);
  // Greys that stay this far from grey after correction were something else.
  return out.residual_de00 > 8 ? WhiteBalance{} : out;
}

}  // namespace uroko::bed
