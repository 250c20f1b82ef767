#pragma once
#include <array>
#include <opencv2/core.hpp>
#include <string>
#include <string_view>
#include <vector>

#include "uroko/base/estimate.h"
#include "uroko/base/result.h"
#include "uroko/bed/colour.h"
#include "uroko/geometry/polygon.h"
#include "uroko/scale/plane_map.h"

namespace uroko::bed {

/// What a pixel of the wound shows. `pale` is ambiguous (new epithelium or poor perfusion) and never called bad.
enum class Tissue { granulation, slough, necrotic, pale, unsure, glare };
constexpr int kTissues = 6;
const char* name(Tissue tissue);

/// How the photo's colour was corrected before classes were told apart: light out = gain * light in ^ gamma, per channel.
struct WhiteBalance {
  enum class From { patches, pick, none } from = From::none;
  std::array<double, 3> gain{1, 1, 1};   ///< B, G, R in linear light
  std::array<double, 3> gamma{1, 1, 1};
  double residual_de00 = 0;  ///< mean CIEDE2000 on the patches after correction
};
/// From the card's grey patches through the plane map; `none` when they cannot be read.
WhiteBalance from_patches(const cv::Mat& bgr, const scale::PlaneMap& map);
/// From a pixel that a person says is neutral grey or white. The lightness is kept. `none` outside the photo and where a channel is clipped.
WhiteBalance from_pick(const cv::Mat& bgr, const ImagePoint& neutral);
/// A grey of known CIE L* (D65) and the 8-bit sRGB counts (B, G, R) it has in the photo.
struct GreySeen {
  double lab_l = 0;
  std::array<double, 3> bgr{};
};
/// Least squares in log light over the greys (gain and gamma from two on, gain alone from one); `none` when it would be absurd.
WhiteBalance from_greys(const std::vector<GreySeen>& greys);
cv::Mat balanced(const cv::Mat& bgr, const WhiteBalance& balance);

/// One colour that a tissue may have: a Gaussian in Lab whose spread is a change of light along (L+16, a, b) and an even spread beside it.
struct TissueColour {
  Tissue tissue = Tissue::granulation;
  Lab mean;
  double light = 0.12;   ///< standard deviation of the change of light, share of (L+16, a, b); a factor k in light is k^(1/3)
  double spread = 6;     ///< standard deviation beside it, Lab units
  double weight = 1;     ///< how common, relative
};

struct GlareOptions {
  double seed_value = 240, seed_saturation = 40, seed_above = 25;    ///< 8-bit HSV; counts of min(R,G,B) above the local background
  double grow_value = 170, grow_saturation = 110, grow_above = 15;
  double most_share = 0.02;  ///< a single highlight larger than this share of the wound is tissue, unless it is clipped white
};

/// Everything that decides a pixel's class; stored with each result as JSON of version 3. What version 1 stored is read as it was meant (nothing is taken
/// off), and what version 2 stored as well (taken off everywhere alike).
struct Thresholds {
  std::vector<TissueColour> colours;
  double least_posterior = 0.55;  ///< of the chosen tissue, mean over 5 x 5 neighbours; below: unsure. 0..1
  double gate = 4.5;             ///< Mahalanobis distance to the nearest colour; beyond: unsure
  double neighbours = 3;         ///< how much a pixel's 5 x 5 neighbours count, natural-log units at full agreement; 0: not at all
  int seam_px = 3;               ///< strips of unsure pixels up to twice this wide are seams between two tissues; 0: keep them
  int median_px = 5;             ///< filter before looking, odd; 1: none
  double glint_mm = 1;           ///< glints of a wet film narrower than this are taken off the colours; 0: not
  double sheen = 0.36;           ///< a broad sheen's usual share of white's light where glints stand close, taken off as far as the colours speak for it; 0: not
  double film = 0.2;             ///< light, white = 1, by which a glint stands out that tells of a wet film; away from such glints no light is taken off. 0: everywhere alike
  GlareOptions glare;
  std::string why_invalid() const;  ///< empty when usable
};
const Thresholds& default_thresholds();
std::string to_json(const Thresholds& thresholds);
Result<Thresholds> thresholds_from_json(std::string_view json);  ///< refusal code "thresholds"

/// A place that a person says shows this tissue.
struct Example {
  Tissue tissue = Tissue::granulation;
  ImagePoint at;
  double radius_px = 6;
};
/// The thresholds with the examples' colours added as colours of their own (colours of the same tissue nearer than their spread give way), so that
/// pixels like the examples become that tissue in this and later photos. Examples outside the photo and of unsure or glare are left out.
/// `px_per_mm` of the photo there; 0: not known.
Thresholds with_examples(const Thresholds& base, const cv::Mat& bgr, const WhiteBalance& balance, const std::vector<Example>& examples, double px_per_mm = 0);

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

/// Classes inside the outline; mm2 through the plane map. Precondition: valid outline. An outline outside the photo gives all `unsure` with a warning.
Bed classify(const cv::Mat& bgr, const ImageOutline& outline, const scale::PlaneMap& map, const WhiteBalance& balance,
             const Thresholds& thresholds = default_thresholds());

struct RimOptions {
  double reach_mm = 8;        ///< how far from the margin the rim is looked for
  double reference_mm = 3;    ///< breadth of the ring behind it that shows the fish's own skin
  double least_rise = 4;      ///< rise of a* over that skin that counts as reddened, CIELAB units
  double own_red = 32;        ///< a* of the skin behind from which a sector is a red patch of the coat and tells nothing
};
/// The reddened rim outside the margin, a ring of its own that is never part of the wound's area.
struct Rim {
  double mm2 = 0, mm2_u = 0;
  double mean_width_mm = 0;   ///< mm2 over the length of margin that could be judged
  double rise = 0;            ///< mean a* of the rim above the skin behind it, CIELAB
  double judged = 0;          ///< share of the directions whose skin could be judged, 0..1; mm2 covers these only
  cv::Mat mask;               ///< CV_8U 255 where reddened; covers `box` at `scale`
  cv::Rect box;
  double scale = 1;
};
/// Going outward from the margin in 48 directions until a* falls back to the skin's. Refuses ("rim") when less than a third of the
/// directions can be judged (the photo's edge, red patches of the coat). Precondition: valid outline.
Result<Rim> reddened_rim(const cv::Mat& bgr, const ImageOutline& outline, const scale::PlaneMap& map, const WhiteBalance& balance, const RimOptions& options = {});

}  // namespace uroko::bed
