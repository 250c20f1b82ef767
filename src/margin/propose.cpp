// With no hint: loops are laid round the places that stand out most by their raw colour; the clearest margin is proposed.
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "margin/colour_model.h"
#include "margin/finder.h"
#include "margin/raster.h"

namespace uroko::margin {

namespace {

/// How much a colour is flesh rather than coat: by how much CIE a* exceeds b*, where the colour is not vivid. Raw tissue is red without much yellow (hue about 20 to 35
/// degrees), a koi's red patches are orange (hue above 40), white and black skin have little of either.
cv::Mat rawness(const cv::Mat& lab) {
  cv::Mat wide;
  lab.convertTo(wide, CV_32FC3);
  cv::Mat channels[3];
  cv::split(wide, channels);
  const cv::Mat a = channels[1] - 128, b = channels[2] - 128;
  cv::Mat chroma, dull;
  cv::magnitude(a, b, chroma);
  // A coat's red is vivid (chroma above 60), raw tissue is not.
  dull = cv::min(cv::max((64 - chroma) / 14, 0), 1);
  cv::Mat out = cv::max(a - b, 0);
  out = out.mul(dull);
  // Black skin has little colour of either kind, and what little it has is noise.
  out.setTo(0, channels[1] < 128 + 12);
  return out;
}

cv::Mat smoothed(const cv::Mat& values, const cv::Mat& weight, double sigma) {
  cv::Mat sum, norm;
  cv::GaussianBlur(values.mul(weight), sum, {}, sigma);
  cv::GaussianBlur(weight, norm, {}, sigma);
  return sum / (norm + 1e-3);
}

/// Rawness against a wide surrounding, at the scale of `sigma` px.
cv::Mat saliency(const cv::Mat& raw, const cv::Mat& weight, double sigma) {
  cv::Mat out = smoothed(raw, weight, sigma) - smoothed(raw, weight, 3 * sigma);
  out.setTo(0, weight == 0);
  return out;
}

/// A loop round the patch of raw colour at `place`: what is at least half as raw as the patch's best, gaps up to `sigma` closed, its hull widened.
ImageOutline loop_round(const cv::Mat& raw, const cv::Mat& weight, const cv::Point& place, double sigma) {
  const cv::Mat near = smoothed(raw, weight, 0.5 * sigma);
  cv::Mat patch = near > 0.5f * near.at<float>(place);
  patch.setTo(0, weight == 0);
  // What hangs together beyond a few times the scale is another thing.
  cv::Mat nearby(patch.size(), CV_8U, cv::Scalar(0));
  cv::circle(nearby, place, static_cast<int>(std::lround(4 * sigma)), 255, -1);
  patch.setTo(0, nearby == 0);
  const int reach = 2 * static_cast<int>(std::lround(sigma)) + 1;
  cv::morphologyEx(patch, patch, cv::MORPH_CLOSE, cv::getStructuringElement(cv::MORPH_ELLIPSE, {reach, reach}));
  cv::Mat labels;
  cv::connectedComponents(patch, labels);
  const int label = labels.at<int>(place);
  if (label == 0) return {};
  std::vector<cv::Point> points, hull;
  cv::findNonZero(labels == label, points);
  cv::convexHull(points, hull);
  Ring<ImagePoint> ring;
  for (const auto& p : hull) ring.push_back({static_cast<double>(p.x), static_cast<double>(p.y)});
  const ImageOutline outline{{{ring, {}}}};
  if (find_fault(outline)) return {};
  return buffered(outline, 1 + 0.25 * std::sqrt(area(outline) / CV_PI));
}

/// How raw the inside of an outline is against a ring as wide as half its radius around it.
double contrast(const cv::Mat& raw, const cv::Mat& weight, const ImageOutline& in_crop) {
  const cv::Mat inside = filled(in_crop, raw.size());
  const int width = std::max(2, static_cast<int>(0.5 * std::sqrt(area(in_crop) / CV_PI)));
  cv::Mat around;
  cv::dilate(inside, around, cv::getStructuringElement(cv::MORPH_ELLIPSE, {2 * width + 1, 2 * width + 1}));
  around.setTo(0, inside);
  around.setTo(0, weight == 0);
  if (cv::countNonZero(inside) == 0 || cv::countNonZero(around) == 0) return 0;
  return cv::mean(raw, inside)[0] - cv::mean(raw, around)[0];
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
  cv::Mat weight;
  usable.convertTo(weight, CV_32F, 1.0 / 255);
  const cv::Mat raw = rawness(lab);
  struct Candidate {
    ImageOutline loop;
    double strength;
  };
  std::vector<Candidate> candidates;
  for (const double sigma : {2.5, 4.0, 7.0, 12.0}) {
    cv::Mat s = saliency(raw, weight, sigma);
    for (int k = 0; k < 2; ++k) {
      double high = 0;
      cv::Point place;
      cv::minMaxLoc(s, nullptr, &high, nullptr, &place);
      if (high < 2) break;
      if (auto loop = loop_round(raw, weight, place, sigma); !loop.empty()) candidates.push_back({crop.in_photo(loop), high});
      cv::circle(s, place, static_cast<int>(3 * sigma), 0, -1);
    }
  }
  std::sort(candidates.begin(), candidates.end(), [](const auto& a, const auto& b) { return a.strength > b.strength; });
  if (candidates.size() > 5) candidates.resize(5);
  std::optional<Margin> best;
  double best_score = -1;
  for (const auto& candidate : candidates) {
    auto found = find_in_loop(bgr, candidate.loop, options);
    if (!found) continue;
    if (!ignore.empty() && !find_fault(ignore) && area(intersection(found->outline, ignore)) > 0.02 * area(found->outline)) continue;
    const double share = area(found->outline) / static_cast<double>(bgr.total());
    if (share > 0.5) continue;
    bool weak = false;
    for (const auto& w : found->warnings) weak = weak || w.code == "weak-edge";
    // The clearer and larger wound of two; a speck of colour is not preferred to it.
    const double score = contrast(raw, weight, crop.in_crop(found->outline)) * std::pow(share, 0.15) * (weak ? 0.4 : 1);
    if (score <= 0) continue;
    if (score > best_score) best_score = score, best = found.value();
  }
  if (!best) return Refusal{"nothing-found", "nothing in the photo stands out as a wound", "draw a rough loop around the wound"};
  best->from = From::automatic;
  best->proposal = true;
  best->warnings.push_back({"proposal", "this margin was proposed without any hint; confirm it or draw a loop around the wound"});
  return *best;
}

}  // namespace uroko::margin
