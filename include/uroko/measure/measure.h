#pragma once
#include <limits>
#include <opencv2/core.hpp>
#include <optional>
#include <string>
#include <vector>

#include "uroko/base/estimate.h"
#include "uroko/base/result.h"
#include "uroko/bed/bed.h"
#include "uroko/margin/margin.h"
#include "uroko/photo/photo.h"
#include "uroko/scale/plane_map.h"

namespace uroko::measure {

/// One source of the area's uncertainty (GUM: a standard uncertainty in the result's unit).
struct BudgetLine {
  std::string source;  ///< "margin shift", "margin noise", "repeat traces", "scale", "print", "plane offset", "plane tilt", "lens", "curvature", "disagreement"
  double u_mm2 = 0;
  double dof = std::numeric_limits<double>::infinity();  ///< degrees of freedom behind u_mm2
  bool shared = false;  ///< the same error in every photo of a visit (the card's print, the body's sizes, how one hand sees the edge)
};

/// The fish's body as an elliptic cylinder. Axis: two pixels on the lateral midline, if known.
struct Body {
  double depth_mm = 0, width_mm = 0;
  std::optional<std::pair<ImagePoint, ImagePoint>> midline;
  double half_axes_relative_u = 0.10;  ///< 0..0.5, standard uncertainty of depth and width, each
  double midline_u_mm = 4;             ///< of where the midline was picked, up and down the body
  double contact_u_mm = 5;             ///< of where across the body the card touches it, from the card's middle
};

struct MeasureOptions {
  double plane_offset_u_mm = 1.0;  ///< >= 0: the reference may lie that much above or below the wound
  double plane_tilt_u_deg = 1.0;   ///< >= 0: and lean that much against it, about each axis
  /// Radius of the skin across the fish for the curvature's allowance where no body is given (a koi's flank: 130; back: 21); infinity: flat.
  double skin_radius_mm = 130;
  std::string site;  ///< the wound's body site in words; "back" narrows the radius
  /// Standard uncertainty of the lens's k1; none: what the plane map's camera says (Camera::k1_doubt).
  std::optional<double> k1_u;
  std::optional<Body> body;
};

/// The number the product stands for, with where it came from.
struct Measurement {
  Estimate area_mm2;
  Estimate perimeter_mm, length_mm, width_mm;
  std::vector<BudgetLine> budget;  ///< of area_mm2.u, largest first; root sum of squares = area_mm2.u
  double curvature_factor = 1;     ///< true surface area / planar area that was applied
  PlaneOutline outline_mm;         ///< on the reference's plane, or on the unrolled skin where a body is given
  std::vector<Warning> warnings;
  std::vector<double> traces_mm2;  ///< of measure_traces: the area of each; empty otherwise
  std::size_t trace = 0;           ///< of measure_traces: which trace, the nearest to their mean, stands for the others
};

/// Refuses an invalid margin (with its fault and place) and a body that the wound wraps too far around ("wraps": beyond 60 degrees).
Result<Measurement> measure(const scale::PlaneMap& map, const margin::Margin& margin, const MeasureOptions& options = {});

/// Several traces of the same wound in the same photo: mean area; the traces' own spread (GUM type A, n - 1 degrees of freedom) stands in
/// for the margin's independent doubt. Precondition: at least two traces.
Result<Measurement> measure_traces(const scale::PlaneMap& map, const std::vector<margin::Margin>& traces, const MeasureOptions& options = {});

/// Several photos of one wound on one visit, weighted by what is not shared between them. When they differ by more than that explains
/// (chi-squared, 5 %), the interval is widened by Birge's ratio and a warning "disagreement" says so. Precondition: not empty.
/// The outline is that of the photo with the smallest uncertainty.
Measurement combined(const std::vector<Measurement>& photos);

/// Two references in one photo: what each gave for the same margin. A warning "references-disagree" when the areas differ by more than
/// twice what their own uncertainties explain; the margin's is the same in both and does not count.
std::optional<Warning> compare_references(scale::Kind one, const Measurement& a, scale::Kind other, const Measurement& b);

/// What the pixels say against trusting a margin: "blur" (the edge is spread over many pixels), "glare" (highlights lie over the margin).
std::vector<Warning> photo_warnings(const cv::Mat& bgr, const scale::PlaneMap& map, const margin::Margin& margin);

}  // namespace uroko::measure
