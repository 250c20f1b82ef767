#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "bed/pixel_areas.h"
#include "bed/pixels.h"
#include "bed/raster.h"
#include "uroko/bed/bed.h"

namespace uroko::bed {

namespace {

constexpr int kSide = 640;  // label pixels on the longer side of the wound: more change no share by 0.001

std::string percent(double share) { return std::to_string(static_cast<int>(std::lround(100 * share))) + " %"; }

}  // namespace

Bed classify(const cv::Mat& bgr, const ImageOutline& outline, const scale::PlaneMap& map, const WhiteBalance& balance, const Thresholds& thresholds) {
  CV_Assert(bgr.type() == CV_8UC3);
  Bed out;
  out.balance = balance;
  out.options = to_json(thresholds);
  const double total_mm2 = area(map.to_plane(outline));
  const Raster raster = rasterised(outline, bgr.size(), kSide);
  out.box = raster.box;
  out.scale = raster.scale;
  const auto all_unsure = [&] {
    out.tissue[static_cast<std::size_t>(Tissue::unsure)] = {1, 0.5, total_mm2, total_mm2 / 2};
    out.warnings.push_back({"bed-none", "the wound's outline covers no pixels of the photo, so its tissue cannot be told"});
    return out;
  };
  if (raster.mask.empty() || cv::countNonZero(raster.mask) == 0) return all_unsure();

  cv::Mat small;
  cv::resize(bgr(raster.box), small, raster.mask.size(), 0, 0, cv::INTER_AREA);
  const PixelAreas mm2(map, raster);
  const auto pixels = classes_of(small, raster.mask, balance, thresholds, 1 / std::sqrt(mm2(raster.mask.cols / 2, raster.mask.rows / 2)));
  out.labels = pixels.labels;
  std::array<double, kTissues> sums{};
  std::array<double, kKinds> doubt{};  // area that might as well be, or not be, that tissue
  double sum = 0;
  for (int y = 0; y < out.labels.rows; ++y)
    for (int x = 0; x < out.labels.cols; ++x) {
      const auto label = out.labels.at<uchar>(y, x);
      if (label == 255) continue;
      const double here = mm2(x, y);
      sum += here;
      sums[label] += here;
      const auto& posterior = pixels.posterior.at<cv::Vec4f>(y, x);
      for (int k = 0; k < kKinds; ++k) doubt[static_cast<std::size_t>(k)] += here * std::min(posterior[k], 1 - posterior[k]);
    }

  // What is unsure or glare may be any of the four. With the card's greys rendered scenes alone would ask for 0.006 only, but no tissue is only one painter's;
  // without them the colours themselves are off by about this much (assets/guide/bed.md).
  const double model_u = balance.from == WhiteBalance::From::patches ? 0.02 : 0.20;
  for (std::size_t k = 0; k < kTissues; ++k) {
    auto& share = out.tissue[k];
    share.share = sums[k] / sum;
    const double own = k < kKinds ? doubt[k] / sum : 0.5 * share.share;
    share.share_u = std::hypot(own, model_u * std::sqrt(4 * share.share * (1 - share.share)));
    share.mm2 = share.share * total_mm2;
    share.mm2_u = share.share_u * total_mm2;
  }
  if (balance.from == WhiteBalance::From::none)
    out.warnings.push_back({"colour-uncorrected", "the colour is uncorrected (no grey patches were read and none was picked): compare the bed's shares with care"});
  if (out[Tissue::pale].share > 0.03)
    out.warnings.push_back({"pale-ambiguous", percent(out[Tissue::pale].share) + " of the bed is pale: new epithelium or poor perfusion, a photo cannot tell which"});
  if (out[Tissue::unsure].share > 0.2) out.warnings.push_back({"bed-unsure", "the tissue of " + percent(out[Tissue::unsure].share) + " of the wound could not be told"});
  if (out[Tissue::glare].share > 0.1)
    out.warnings.push_back({"bed-glare", "glare hides " + percent(out[Tissue::glare].share) + " of the wound: turn the fish or the lamp, or blot the wound, and take another photo"});
  return out;
}

}  // namespace uroko::bed
