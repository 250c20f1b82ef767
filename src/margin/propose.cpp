// With no hint: the places that stand out most in colour from their surroundings are tried as points; the clearest margin is proposed.
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "margin/colour_model.h"
#include "margin/finder.h"
#include "margin/raster.h"

namespace uroko::margin {

namespace {

/// Redness and darkness against a wide surrounding, at the scale of `sigma` px.
cv::Mat saliency(const cv::Mat& lab, double sigma, const cv::Mat& usable) {
  cv::Mat wide;
  lab.convertTo(wide, CV_32FC3);
  cv::Mat weight;
  usable.convertTo(weight, CV_32F, 1.0 / 255);
  const auto smooth = [&](const cv::Mat& channel, double s) {
    cv::Mat sum, norm;
    cv::GaussianBlur(channel.mul(weight), sum, {}, s);
    cv::GaussianBlur(weight, norm, {}, s);
    cv::Mat out = sum / (norm + 1e-3);
    return out;
  };
  cv::Mat channels[3];
  cv::split(wide, channels);
  const cv::Mat dl = smooth(channels[0], 3 * sigma) - smooth(channels[0], sigma);
  const cv::Mat da = smooth(channels[1], sigma) - smooth(channels[1], 3 * sigma);
  const cv::Mat db = smooth(channels[2], sigma) - smooth(channels[2], 3 * sigma);
  cv::Mat out = 1.5 * da + 0.35 * cv::max(dl, 0) * (100.0 / 255) + 0.3 * cv::abs(db);
  out.setTo(0, usable == 0);
  return out;
}

}  // namespace

Result<Margin> propose(const cv::Mat& bgr, const ImageOutline& ignore, const FinderOptions& options) {
  if (auto refusal = refused_photo(bgr)) return *refusal;
  if (auto refusal = refused_options(options)) return *refusal;
  const Crop crop = make_crop(bgr, {0, 0, bgr.cols, bgr.rows}, 256);
  const cv::Mat lab = lab_of(crop.bgr);
  cv::Mat usable(crop.bgr.size(), CV_8U, cv::Scalar(255));
  if (!ignore.empty()) {
    usable.setTo(0, filled(crop.in_crop(ignore), crop.bgr.size()));
    cv::erode(usable, usable, cv::getStructuringElement(cv::MORPH_ELLIPSE, {7, 7}));
  }
  struct Candidate {
    ImagePoint at;
    double strength;
  };
  std::vector<Candidate> candidates;
  for (const double sigma : {3.0, 6.0, 12.0, 20.0}) {
    cv::Mat s = saliency(lab, sigma, usable);
    for (int k = 0; k < 2; ++k) {
      double high = 0;
      cv::Point place;
      cv::minMaxLoc(s, nullptr, &high, nullptr, &place);
      if (high < 3) break;
      candidates.push_back({crop.in_photo(ImagePoint{static_cast<double>(place.x), static_cast<double>(place.y)}), high});
      cv::circle(s, place, static_cast<int>(3 * sigma), 0, -1);
    }
  }
  std::sort(candidates.begin(), candidates.end(), [](const auto& a, const auto& b) { return a.strength > b.strength; });
  if (candidates.size() > 4) candidates.resize(4);
  std::optional<Margin> best;
  double best_score = -1;
  for (const auto& candidate : candidates) {
    if (best && contains(best->outline, candidate.at)) continue;
    auto found = find_from_point(bgr, candidate.at, options);
    if (!found) continue;
    if (!ignore.empty() && !find_fault(ignore) && area(intersection(found->outline, ignore)) > 0.02 * area(found->outline)) continue;
    const double share = area(found->outline) / static_cast<double>(bgr.total());
    if (share > 0.5) continue;
    bool weak = false;
    for (const auto& w : found->warnings) weak = weak || w.code == "weak-edge";
    const double score = candidate.strength * (weak ? 0.4 : 1);
    if (score > best_score) best_score = score, best = found.value();
  }
  if (!best) return Refusal{"nothing-found", "nothing in the photo stands out as a wound", "draw a rough loop around the wound"};
  best->from = From::automatic;
  best->proposal = true;
  best->warnings.push_back({"proposal", "this margin was proposed without any hint; confirm it or draw a loop around the wound"});
  return *best;
}

}  // namespace uroko::margin
