#pragma once
#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "uroko/base/estimate.h"
#include "uroko/base/result.h"
#include "uroko/geometry/polygon.h"

namespace uroko::margin {

enum class From { given, loop, seed, automatic };
const char* name(From from);  ///< "given", "loop", "seed", "auto"

/// The wound's outline in the photo and how sure it is.
struct Margin {
  ImageOutline outline;
  From from = From::given;
  /// Standard uncertainty of the edge across itself in px: along the first part's outer ring, a value a vertex
  /// (empty when not estimated). Independent from place to place over about `correlation_px`.
  std::vector<double> doubt_px;
  double correlation_px = 20;
  /// Standard uncertainty in px of a shift common to the whole edge (where "the edge" is).
  double common_px = 0;
  bool proposal = false;  ///< found without any hint: to be confirmed by a person
  std::vector<Warning> warnings;
};

using Stroke = std::vector<ImagePoint>;

struct FinderOptions {
  int crop_side_px = 256;    ///< 64..1024, longer side of the reduced crop
  bool keep_holes = false;   ///< islands found inside are kept as holes
  std::uint64_t seed = 1;    ///< for the parts that draw random numbers
  double mm_per_px = 0;      ///< about, where the scale is known (else 0): a proposal then knows how large wounds are
};

/// The margin inside a rough loop drawn outside the wound. `bgr`: the whole upright photo, 8-bit BGR.
/// Refuses: a loop of fewer than three points, outside the photo, crossing itself beyond repair, with nothing in it to find,
/// round plain skin ("no-edge": the median separation of the two sides' colours below 1.3 pooled standard deviations).
Result<Margin> find_in_loop(const cv::Mat& bgr, const ImageOutline& loop, const FinderOptions& options = {});
/// From one point in the wound.
Result<Margin> find_from_point(const cv::Mat& bgr, const ImagePoint& inside, const FinderOptions& options = {});
/// With no hint: a proposal. `ignore`: places that cannot be wound (the card), may be empty.
Result<Margin> propose(const cv::Mat& bgr, const ImageOutline& ignore, const FinderOptions& options = {});
/// Refines the present margin near strokes that must be inside (`keep`) or outside (`drop`); the rest does not move.
Result<Margin> refine(const cv::Mat& bgr, const Margin& present, const std::vector<Stroke>& keep, const std::vector<Stroke>& drop,
                      const FinderOptions& options = {});
/// A given outline as a margin, with its edge's doubt estimated from the photo's blur there.
Margin given(const cv::Mat& bgr, const ImageOutline& outline);

}  // namespace uroko::margin
