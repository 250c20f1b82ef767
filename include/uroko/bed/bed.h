#pragma once
#include <array>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "uroko/base/estimate.h"
#include "uroko/geometry/polygon.h"
#include "uroko/scale/plane_map.h"

namespace uroko::bed {

/// What a pixel of the wound shows. `pale` is ambiguous (new epithelium or poor perfusion) and never called bad.
enum class Tissue { granulation, slough, necrotic, pale, unsure, glare };
constexpr int kTissues = 6;
const char* name(Tissue tissue);

/// How the photo's colour was corrected before classes were told apart.
struct WhiteBalance {
  enum class From { patches, pick, none } from = From::none;
  std::array<double, 3> gain{1, 1, 1};   ///< B, G, R in linear light
  std::array<double, 3> gamma{1, 1, 1};
  double residual_de00 = 0;  ///< mean CIEDE2000 on the patches after correction
};
/// From the card's grey patches through the plane map; `none` when they cannot be read.
WhiteBalance from_patches(const cv::Mat& bgr, const scale::PlaneMap& map);
/// From a pixel that a person says is neutral grey or white.
WhiteBalance from_pick(const cv::Mat& bgr, const ImagePoint& neutral);
cv::Mat balanced(const cv::Mat& bgr, const WhiteBalance& balance);

struct Share {
  double share = 0, share_u = 0;  ///< of the whole wound, 0..1
  double mm2 = 0, mm2_u = 0;
};

struct Bed {
  std::array<Share, kTissues> tissue;  ///< by Tissue; shares sum to 1
  WhiteBalance balance;
  cv::Mat labels;        ///< CV_8U Tissue a pixel inside the margin, 255 outside; covers `box` at `scale`
  cv::Rect box;          ///< photo pixels covered by `labels`
  double scale = 1;      ///< label pixels per photo pixel
  std::string options;   ///< the thresholds used, as JSON, stored with the result
  std::vector<Warning> warnings;
  const Share& operator[](Tissue t) const { return tissue[static_cast<std::size_t>(t)]; }
};

/// Classes inside the outline; mm2 through the plane map. Precondition: valid outline.
Bed classify(const cv::Mat& bgr, const ImageOutline& outline, const scale::PlaneMap& map, const WhiteBalance& balance);

}  // namespace uroko::bed
