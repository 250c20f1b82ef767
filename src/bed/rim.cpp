#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "bed/light.h"
#include "bed/pixel_areas.h"
#include "uroko/base/median.h"
#include "uroko/bed/bed.h"

namespace uroko::bed {

namespace {

constexpr int kSectors = 48;

}  // namespace

Result<Rim> reddened_rim(const cv::Mat& bgr, const ImageOutline& outline, const scale::PlaneMap& map, const WhiteBalance& balance, const RimOptions& o) {
  CV_Assert(bgr.type() == CV_8UC3);
  const auto plane = map.to_plane(outline);
  const auto around = buffered(plane, o.reach_mm + o.reference_mm);
  const auto ring = mapped<PlanePoint, ImagePoint>(around, [&](const PlanePoint& p) { return map.to_image(p); });
  const Raster wide = rasterised(ring, bgr.size(), 480);
  const Refusal no_skin{"rim", "the skin around the wound cannot be judged", "take a photo with a hand's breadth of skin around the wound"};
  if (wide.mask.empty()) return no_skin;
  cv::Mat wound(wide.mask.size(), CV_8U, cv::Scalar(0));
  const auto centre = centroid(outline);
  for (int y = 0; y < wide.mask.rows; ++y)
    for (int x = 0; x < wide.mask.cols; ++x)
      if (wide.mask.at<uchar>(y, x) != 0 && contains(outline, wide.photo_point(x, y))) wound.at<uchar>(y, x) = 255;
  cv::Mat small, distance;
  cv::resize(bgr(wide.box), small, wide.mask.size(), 0, 0, cv::INTER_AREA);
  cv::medianBlur(small, small, 3);
  const cv::Mat lab = lab_image(small, balance), skin = wide.mask & ~wound;
  const cv::Mat glare = find_glare(small, skin, default_thresholds().glare);
  cv::distanceTransform(~wound, distance, cv::DIST_L2, cv::DIST_MASK_PRECISE);
  const PixelAreas mm2(map, wide);

  // Distance in mm by the local scale: good to the tilt's change across the ring.
  const auto outward = [&](int x, int y) { return std::max(0.0, distance.at<float>(y, x) - 0.5) * std::sqrt(mm2(x, y)); };
  const double step = 0.5;
  const int steps = std::max(1, static_cast<int>(std::ceil(o.reach_mm / step)));
  std::vector<std::vector<float>> behind(kSectors);
  std::vector<std::vector<std::vector<float>>> before(kSectors, std::vector<std::vector<float>>(std::size_t(steps)));
  const auto sector_of = [&](int x, int y) {
    const auto p = wide.photo_point(x, y);
    const double turn = (std::atan2(p.y - centre.y, p.x - centre.x) + std::numbers::pi) / (2 * std::numbers::pi);
    return std::min<std::size_t>(kSectors - 1, static_cast<std::size_t>(turn * kSectors));
  };
  for (int y = 0; y < skin.rows; ++y)
    for (int x = 0; x < skin.cols; ++x) {
      if (skin.at<uchar>(y, x) == 0 || glare.at<uchar>(y, x) != 0) continue;
      const double d = outward(x, y);
      const float a = lab.at<cv::Vec3f>(y, x)[1];
      if (d >= o.reach_mm)
        behind[sector_of(x, y)].push_back(a);
      else
        before[sector_of(x, y)][static_cast<std::size_t>(d / step)].push_back(a);
    }
  // Per direction: how far the redness reaches without a break.
  std::vector<double> reach(kSectors, -1), own(kSectors, 0);
  int judged = 0;
  for (std::size_t s = 0; s < kSectors; ++s) {
    if (behind[s].size() < 12) continue;
    own[s] = median(behind[s]);
    if (own[s] > o.own_red) continue;
    ++judged;
    reach[s] = 0;
    for (std::size_t k = 0; k < before[s].size() && before[s][k].size() >= 2 && median(before[s][k]) - own[s] > o.least_rise; ++k) reach[s] = (double(k) + 1) * step;
  }
  if (judged * 3 < kSectors) return no_skin;

  Rim out;
  out.box = wide.box;
  out.scale = wide.scale;
  out.judged = judged / double(kSectors);
  out.mask = cv::Mat::zeros(skin.size(), CV_8U);
  double rise = 0, one_step = 0;
  for (int y = 0; y < skin.rows; ++y)
    for (int x = 0; x < skin.cols; ++x) {
      if (skin.at<uchar>(y, x) == 0) continue;
      const auto s = sector_of(x, y);
      const double d = outward(x, y), here = mm2(x, y);
      if (reach[s] > 0 && std::abs(d - reach[s]) < step / 2) one_step += here;
      if (!(d < reach[s])) continue;
      out.mask.at<uchar>(y, x) = 255;
      out.mm2 += here;
      rise += here * (lab.at<cv::Vec3f>(y, x)[1] - own[s]);
    }
  if (out.mm2 > 0) out.rise = rise / out.mm2;
  out.mean_width_mm = out.mm2 / (perimeter(plane) * out.judged);
  // The rim fades out: its outer edge is known to about one step either way.
  out.mm2_u = std::hypot(one_step, 0.1 * out.mm2);
  return out;
}

}  // namespace uroko::bed
