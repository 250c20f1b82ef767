// Does the loop hold more than the one wound that was outlined?
#include "margin/others.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>

#include "margin/colour_model.h"
#include "margin/crop.h"
#include "margin/raster.h"
#include "margin/rings.h"

namespace uroko::margin {

namespace {

constexpr int kSide = 160;
// In radii of the found margin; picked on rendered koi 50 to 55 with one and with two wounds.
constexpr double kAway = 0.12;   ///< this far outside the found margin a place is one of its own
constexpr double kSkin = 0.35;   ///< skin is learned this far around the loop
constexpr double kClean = 0.08;  ///< specks and bridges narrower than twice this do not count
constexpr double kOther = 0.06;  ///< least area of another place, in the found margin's
constexpr double kHalf = 0.15;   ///< least area of the smaller of two halves, in the found margin's
constexpr float kLooksLike = 1;  ///< log-odds of the wound's colours

cv::Mat disc(double radius) {
  const int r = std::max(1, static_cast<int>(std::lround(radius)));
  return cv::getStructuringElement(cv::MORPH_ELLIPSE, {2 * r + 1, 2 * r + 1});
}

/// Areas of the connected parts, the largest first.
std::vector<int> part_areas(const cv::Mat& mask) {
  cv::Mat labels, stats, centres;
  const int n = cv::connectedComponentsWithStats(mask, labels, stats, centres, 4);
  std::vector<int> areas;
  for (int i = 1; i < n; ++i) areas.push_back(stats.at<int>(i, cv::CC_STAT_AREA));
  std::sort(areas.rbegin(), areas.rend());
  return areas;
}

/// The parts that do not touch `rim`: skin's pattern runs on beyond a loop, a wound does not.
cv::Mat clear_of(const cv::Mat& mask, const cv::Mat& rim) {
  cv::Mat labels, kept = mask.clone();
  const int n = cv::connectedComponents(mask, labels, 4);
  std::vector<char> touches(static_cast<std::size_t>(n), 0);
  for (int y = 0; y < mask.rows; ++y)
    for (int x = 0; x < mask.cols; ++x)
      if (rim.at<uchar>(y, x)) touches[static_cast<std::size_t>(labels.at<int>(y, x))] = 1;
  for (int y = 0; y < mask.rows; ++y)
    for (int x = 0; x < mask.cols; ++x)
      if (touches[static_cast<std::size_t>(labels.at<int>(y, x))]) kept.at<uchar>(y, x) = 0;
  return kept;
}

cv::Mat weight_of(const cv::Mat& mask) {
  cv::Mat w;
  mask.convertTo(w, CV_32F, 1.0 / 255);
  return w;
}

}  // namespace

std::optional<Warning> more_than_one(const cv::Mat& bgr, const ImageOutline& loop, const ImageOutline& found) {
  const Crop crop = make_crop(bgr, box_of(loop, 0.25), kSide);
  const double r = radius_of(found) * crop.scale();
  if (r < 6) return std::nullopt;
  cv::Mat smooth, away;
  cv::GaussianBlur(crop.bgr, smooth, {}, 0.8);
  const cv::Mat lab = lab_of(smooth), in_loop = filled(crop.in_crop(loop), lab.size()), wound = filled(crop.in_crop(found), lab.size());
  cv::distanceTransform(~in_loop, away, cv::DIST_L2, 3);
  const cv::Mat skin = (away > 0) & (away < kSkin * r);
  cv::Mat deep;
  cv::erode(wound, deep, disc(kAway * r));
  if (cv::countNonZero(skin) < 30 || cv::countNonZero(deep) < 30) return std::nullopt;
  cv::Mat alike = colour_odds(lab, weight_of(deep), weight_of(skin), 3) > kLooksLike, beyond;
  cv::morphologyEx(alike, alike, cv::MORPH_OPEN, disc(kClean * r));
  const double whole = cv::countNonZero(wound);
  const Warning told{"more-than-one", "the loop seems to hold more than one wound, and one outline was drawn; draw a loop round each wound by itself"};
  cv::distanceTransform(~wound, beyond, cv::DIST_L2, 3);
  const cv::Mat rim = away > 0;
  cv::Mat reach;
  cv::dilate(in_loop, reach, cv::getStructuringElement(cv::MORPH_RECT, {3, 3}));
  const auto other = part_areas(clear_of(alike & reach & (beyond > kAway * r), rim));
  if (!other.empty() && other.front() > kOther * whole) return told;
  const auto halves = part_areas(alike & wound);
  if (halves.size() > 1 && halves[1] > kHalf * whole) return told;
  return std::nullopt;
}

}  // namespace uroko::margin
