#include "margin/finder.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <opencv2/imgproc.hpp>

#include "margin/band.h"
#include "margin/coarse.h"
#include "margin/colour_model.h"
#include "margin/others.h"
#include "margin/raster.h"
#include "uroko/base/median.h"
#include "uroko/base/text.h"

namespace uroko::margin {

const char* name(From from) {
  switch (from) {
    case From::given:
      return "given";
    case From::loop:
      return "loop";
    case From::seed:
      return "seed";
    case From::automatic:
      return "auto";
  }
  return "given";
}

std::optional<Refusal> refused_photo(const cv::Mat& bgr) {
  if (bgr.empty()) return Refusal{"photo-empty", "the photo has no pixels", "open another photo"};
  if (bgr.type() != CV_8UC3) return Refusal{"photo-kind", "the photo is not an 8-bit colour picture", "convert it to 8 bits a channel"};
  if (bgr.cols < 16 || bgr.rows < 16)
    return Refusal{"photo-too-small",
                   "the photo is " + std::to_string(bgr.cols) + " x " + std::to_string(bgr.rows) + " pixels: too small to find an edge in",
                   "use a photo of at least 16 pixels each way"};
  return std::nullopt;
}

std::optional<Refusal> refused_options(const FinderOptions& options) {
  if (options.crop_side_px < 64 || options.crop_side_px > 1024)
    return Refusal{"crop-side", "the crop's side of " + std::to_string(options.crop_side_px) + " pixels is not between 64 and 1024", "use 256"};
  return std::nullopt;
}

ImageOutline photo_frame(const cv::Mat& bgr) {
  const double r = bgr.cols - 0.5, b = bgr.rows - 0.5;
  return {{{{{-0.5, -0.5}, {r, -0.5}, {r, b}, {-0.5, b}}, {}}}};
}

namespace {

constexpr int kWorkSide = 800;  ///< the band works on at most this many pixels a side: 0.1 px there is 0.5 px of a 24 MP photo
/// Small wounds are enlarged for the band up to this radius, at most threefold: its steps of a quarter pixel and looks of one and two are then parts of
/// the photo's pixel (rendered koi of 22 px radius: mean Dice .965 to .976).
constexpr double kBandRadius = 66, kMostEnlarged = 3;
/// Half-width of the band in the distance that the edge may still move: wider, it is drawn in to the shaded wall; narrower, it does not mend loose loops.
constexpr double kBandReach = 0.5;

/// Overexposed and colourless pixels: they hide the tissue, so they say nothing about the edge.
cv::Mat glare_in(const cv::Mat& bgr) {
  cv::Mat glare(bgr.size(), CV_8U);
  for (int y = 0; y < bgr.rows; ++y) {
    const auto* c = bgr.ptr<cv::Vec3b>(y);
    auto* g = glare.ptr<uchar>(y);
    for (int x = 0; x < bgr.cols; ++x) {
      const int low = std::min({c[x][0], c[x][1], c[x][2]}), high = std::max({c[x][0], c[x][1], c[x][2]});
      g[x] = low >= 225 && high >= 245 ? 255 : 0;
    }
  }
  return glare;
}

/// The part of the ring's length that lies on the photo's rim.
double share_on_frame(const Ring<ImagePoint>& ring, const cv::Mat& bgr) {
  int on = 0;
  for (const auto& p : ring) on += p.x < 1 || p.y < 1 || p.x > bgr.cols - 2 || p.y > bgr.rows - 2;
  return static_cast<double>(on) / static_cast<double>(std::max<std::size_t>(1, ring.size()));
}

/// Common shift of a found margin, in the wound's radii.
constexpr double kStraying = 0.03;
/// Contrast from which on there is hardly another line to follow.
constexpr double kPlainContrast = 6;

/// Median contrast below which there is no edge. Round wounds it is at least 2.11 (43 photos of feet) and 2.61 (18 rendered koi); round plain skin
/// beside them 0.81 and 0.75 in the middle, at most 1.39 (36) and 1.60 (16).
constexpr double kNoContrast = 1.3;
constexpr double kWeakContrast = 1.7;  ///< a margin this weak is warned of

/// How far a loop may have drawn the margin at most, in the wound's radii, where it is vague and where it is clear, and the clarity at which it is the one
/// or the other (1008 loops from 12 to 80 % outside on 92 photos and 80 rendered koi, assets/guide/margins.md).
constexpr double kMostDrawn = 0.18, kMostDrawnClear = 0.06;
constexpr double kVagueClarity = 1.9, kPlainClarity = 2.3;

/// How much clearer the edge must be that is found below the first margin than the first one's, to be taken in its place.
constexpr double kClearer = 1.1;
/// And how much smaller, in area: a margin that is nearly the same is not looked at again.
constexpr double kLess = 0.97;

/// Islands of skin inside a coarse margin, by a cut on colour.
ImageOutline with_islands(const cv::Mat& bgr, const ImageOutline& coarse, int side) {
  const Crop crop = make_crop(bgr, box_of(coarse, 0.3), side);
  auto local = crop.in_crop(coarse);
  for (auto& part : local.parts) {
    const double r = radius_of(part.outer);
    cv::Mat level;
    cut_about_ring(lab_of(crop.bgr), part.outer, 0.05 * r).convertTo(level, CV_32F, 1.0 / 255);
    cv::GaussianBlur(level, level, {}, 0.8);
    for (const auto& found : outline_at(level, 0.5f, std::max(6.0, 0.003 * CV_PI * r * r)).parts)
      for (const auto& hole : found.holes) part.holes.push_back(hole);
  }
  local = crop.in_photo(local);
  return find_fault(local) ? coarse : local;
}

/// What was found below a loop, with its islands, settled; `contrast` as for `settled`.
Margin settled_below(const cv::Mat& bgr, const Search& coarse, const FinderOptions& options, double* contrast) {
  const auto outline = options.keep_holes ? with_islands(bgr, coarse.outline, options.crop_side_px) : coarse.outline;
  const double reach = std::max({5.0 * std::min(1.0, radius_of(outline) / 40), 0.08 * radius_of(outline), 2.5 / coarse.scale});
  return settled(bgr, outline, reach, From::loop, contrast);
}

}  // namespace

Margin settled(const cv::Mat& bgr, const ImageOutline& coarse, double reach_px, From from, double* seen_contrast) {
  Margin margin;
  margin.from = from;
  auto box = box_of(coarse, 0.1);
  const int pad = static_cast<int>(std::ceil(2 * reach_px)) + 4;
  box = cv::Rect(box.x - pad, box.y - pad, box.width + 2 * pad, box.height + 2 * pad);
  const Crop work = make_crop(bgr, box, kWorkSide, std::clamp(kBandRadius / std::max(1.0, radius_of(coarse)), 1.0, kMostEnlarged));
  const double s = work.scale();
  cv::Mat smooth;
  cv::GaussianBlur(work.bgr, smooth, {}, 0.7);
  const cv::Mat lab = lab_of(smooth), glare = glare_in(work.bgr);
  std::vector<double> contrast, soft, island_doubt;
  const auto settle_ring = [&](const Ring<ImagePoint>& ring, double reach, std::vector<double>* doubt) {
    BandOptions options;
    options.half_width_px = std::max(2.0, reach * s) * kBandReach;
    options.island = doubt == &island_doubt;
    options.spacing_px = std::clamp(ring_length(ring) / 400, 1.0, 2.0);
    auto band = settle(lab, glare, ring, options);
    const auto wide = band;
    options.half_width_px = std::max(1.5, options.half_width_px / 2);
    band = settle(lab, glare, band.ring, options);
    // Enlarged, the second band lies within the photo's own blur, where the sides differ little and softness is cut off: the first one tells of both.
    const auto& told = s > 1 ? wide : band;
    contrast.insert(contrast.end(), told.contrast.begin(), told.contrast.end());
    soft.push_back(told.softness_px);
    if (doubt) *doubt = band.doubt_px;
    return band.ring;
  };
  ImageOutline fine;
  const auto local = work.in_crop(coarse);
  for (std::size_t i = 0; i < local.parts.size(); ++i) {
    Polygon<ImagePoint> part;
    const double r = radius_of(local.parts[i].outer) / s;
    part.outer = settle_ring(local.parts[i].outer, std::min(reach_px, 0.5 * r), i == 0 ? &margin.doubt_px : nullptr);
    for (const auto& hole : local.parts[i].holes) {
      const double rh = radius_of(hole) / s;
      part.holes.push_back(settle_ring(hole, std::min(reach_px, 0.3 * rh), &island_doubt));
    }
    fine.parts.push_back(std::move(part));
  }
  auto outline = work.in_photo(fine);
  bool same_nodes = true;
  if (find_fault(outline)) {
    outline = made_valid(outline);
    largest_first(outline);
    // Slivers cut off where the ring crossed itself are not parts of the wound.
    while (outline.parts.size() > coarse.parts.size()) outline.parts.pop_back();
    same_nodes = false;
  }
  if (outline.empty() || find_fault(outline)) outline = coarse, same_nodes = false;
  const auto framed = find_fault(outline) ? outline : intersection(outline, photo_frame(bgr));
  if (!framed.empty() && std::abs(area(framed) - area(outline)) > 1e-6 * area(outline)) outline = framed, same_nodes = false;
  margin.outline = outline;
  for (auto& d : margin.doubt_px) d /= s;
  const double typical = median(margin.doubt_px);
  if (!same_nodes || margin.doubt_px.size() != margin.outline.parts.front().outer.size())
    margin.doubt_px.assign(margin.outline.parts.front().outer.size(), typical);
  margin.correlation_px = 20 / std::min(1.0, s);
  // Where within its transition the edge is, is a convention: a third of the transition's sigma, and never less than the grid's own third of a pixel.
  // A found margin also follows the wrong line here and there, in proportion to the wound's size (calibrated on open photos,
  // assets/guide/margins.md).
  const double straying =
      from == From::given ? 0 : kStraying * radius_of(outline) * std::min(1.0, std::pow(kPlainContrast / std::max(1e-6, median(contrast)), 2));
  margin.common_px = std::hypot(0.3, 0.35 * median(soft) / s, straying);
  if (seen_contrast) *seen_contrast = median(contrast);
  if (median(contrast) < kWeakContrast)
    margin.warnings.push_back({"weak-edge", "the edge of the wound is weak in this photo; check the margin and correct it where it strays"});
  if (share_on_frame(margin.outline.parts.front().outer, bgr) > 0.02)
    margin.warnings.push_back({"cut-by-frame", "the wound reaches the photo's rim; what lies beyond is not measured"});
  return margin;
}

Result<Margin> find_in_loop(const cv::Mat& bgr, const ImageOutline& given_loop, const FinderOptions& options) {
  if (auto refusal = refused_photo(bgr)) return *refusal;
  if (auto refusal = refused_options(options)) return *refusal;
  if (given_loop.empty() || given_loop.parts.front().outer.size() < 3)
    return Refusal{"loop-points", "the loop has fewer than three points", "draw a closed loop around the wound"};
  ImageOutline loop;
  for (const auto& part : given_loop.parts) loop.parts.push_back({part.outer, {}});
  if (auto fault = find_fault(loop)) {
    if (fault->kind == OutlineFault::Kind::not_finite) return Refusal{"loop-points", fault->text, "draw the loop again"};
    const double whole = area(ImageOutline{{{box_of(loop, 0).area() > 0 ? loop.parts.front().outer : Ring<ImagePoint>{}, {}}}});
    auto repaired = made_valid(loop);
    largest_first(repaired);
    for (auto& part : repaired.parts) part.holes.clear();
    const double sum = area(repaired);
    // A pigtail where the ends of the loop meet is cut off; a figure of eight does not say which half is meant.
    if (repaired.empty() || std::abs(signed_area(repaired.parts.front().outer)) < 0.8 * std::max(sum, whole))
      return Refusal{"loop-crosses", fault->text + ", so what the loop encloses is not clear", "draw the loop again without crossing it"};
    repaired.parts.resize(1);
    loop = repaired;
  }
  const auto inside = intersection(loop, photo_frame(bgr));
  if (inside.empty() || area(inside) < 1) return Refusal{"loop-outside", "the loop lies outside the photo", "draw it around the wound in the photo"};
  if (area(inside) < 30)
    return Refusal{"loop-small", "the loop encloses fewer than 30 pixels", "use a closer photo or draw the loop around the whole wound"};
  if (area(inside) > 0.9 * static_cast<double>(bgr.total()))
    return Refusal{"loop-large", "the loop takes in nearly the whole photo and leaves no skin outside to compare with",
                   "draw the loop closer round the wound"};
  loop = inside;
  auto coarse = search_in_loop(bgr, loop, options.crop_side_px, kUsualSpread);
  if (coarse.outline.empty())
    return Refusal{"nothing-found", "no edge was found inside the loop", "draw the loop around the wound, or trace the margin by hand"};
  double contrast = 0;
  auto margin = settled_below(bgr, coarse, options, &contrast);
  // What a loose loop held on to may be a line of the skin outside the wound: once more with the first margin for a loop, expecting no depth.
  const auto closer = search_in_loop(bgr, coarse.outline, options.crop_side_px, 0);
  if (!closer.outline.empty() && area(closer.outline) < kLess * area(coarse.outline)) {
    double seen = 0;
    auto within = settled_below(bgr, closer, options, &seen);
    if (seen > kClearer * contrast) margin = std::move(within), coarse = closer, contrast = seen;
  }
  if (contrast < kNoContrast)
    return Refusal{"no-edge", "what lies inside the loop looks like what lies around it: there is no edge to follow",
                   "draw the loop around the wound, or trace the margin by hand"};
  // The finder expects a loop about a quarter of the radius outside. A looser one draws the margin outwards, a tighter one inwards, in
  // proportion (measured on open photos and rendered koi, assets/guide/margins.md); that is not seen in the photo, so it is doubt. But a clear
  // margin is hardly drawn, and what is left of a vague one after a very loose loop is not drawn any further: the doubt has a ceiling by clarity.
  const double looseness = std::sqrt(area(loop) / std::max(1.0, area(margin.outline))) - 1, off = std::abs(looseness - 0.25);
  const double clear = std::clamp((coarse.clarity - kVagueClarity) / (kPlainClarity - kVagueClarity), 0.0, 1.0);
  const double drawn = std::min((looseness > 0.25 ? 1.2 : 0.4) * std::max(0.0, off - 0.07), kMostDrawn + clear * (kMostDrawnClear - kMostDrawn));
  margin.common_px = std::hypot(margin.common_px, drawn * radius_of(margin.outline));
  if (area(margin.outline) < 0.2 * area(loop))
    margin.warnings.push_back({"loose-loop", "the margin found is much smaller than the loop; draw the loop closer if it missed parts of the wound"});
  if (auto told = more_than_one(bgr, loop, margin.outline)) margin.warnings.push_back(std::move(*told));
  return margin;
}

Margin given(const cv::Mat& bgr, const ImageOutline& outline) {
  Margin margin;
  margin.outline = outline;
  margin.from = From::given;
  // A hand's own scatter, common practice on a screen, when the photo cannot be read.
  margin.common_px = 1;
  if (refused_photo(bgr) || outline.empty() || find_fault(outline)) return margin;
  const double r = radius_of(outline);
  const auto seen = settled(bgr, outline, std::clamp(0.06 * r, 2.0, 40.0), From::given);
  // The independent part: the spread of the edge about the drawn line, as the band sees it, brought to the drawn vertices.
  const double typical = median(seen.doubt_px);
  margin.doubt_px.assign(outline.parts.front().outer.size(), typical);
  if (!seen.doubt_px.empty() && seen.outline.parts.size() == outline.parts.size()) {
    const auto& ring = seen.outline.parts.front().outer;
    for (std::size_t i = 0; i < margin.doubt_px.size(); ++i) {
      double best = 1e300;
      for (std::size_t k = 0; k < ring.size(); ++k) {
        const double d = distance(ring[k], outline.parts.front().outer[i]);
        if (d < best) best = d, margin.doubt_px[i] = seen.doubt_px[k];
      }
    }
  }
  margin.correlation_px = seen.correlation_px;
  margin.common_px = std::clamp(seen.common_px, 0.5, 0.05 * r + 0.5);
  return margin;
}

}  // namespace uroko::margin
