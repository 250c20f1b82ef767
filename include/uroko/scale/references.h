#pragma once
#include <array>
#include <opencv2/core.hpp>
#include <string>

#include "uroko/base/result.h"
#include "uroko/scale/plane_map.h"

namespace uroko::scale {

/// Finds the printed card anywhere in an upright 8-bit BGR or grey photo.
/// `print_scale`: what the card's printed check length measures / what it should (1 = true size).
struct CardOptions {
  double print_scale = 1;
  double print_scale_u = 0.002;  ///< standard uncertainty of it, as a share
};
Result<PlaneMap> find_card(const cv::Mat& photo, const Camera& camera, const CardOptions& options = {});

/// Two picks on a ruler `length_mm` apart (snapped to graduations where they are found, with a warning where not).
/// Throws nothing; refuses equal points, a length <= 0, points outside the photo.
Result<PlaneMap> from_ruler(const cv::Mat& photo, const Camera& camera, const ImagePoint& from, const ImagePoint& to, double length_mm);

/// A round disc (coin) of known diameter near that pixel.
Result<PlaneMap> from_disc(const cv::Mat& photo, const Camera& camera, const ImagePoint& near, double diameter_mm);

/// Four corners in order, width between corners 1 and 2. `photo` may be empty: then the corners are taken as given,
/// otherwise they are refined to the edges near them when that is clearly better.
Result<PlaneMap> from_rectangle(const cv::Mat& photo, const Camera& camera, const std::array<ImagePoint, 4>& corners, double width_mm,
                                double height_mm);

/// A plain checkerboard mat anywhere in the photo, whole: `columns` x `rows` inner corners (3..40), squares of `square_mm` (a caliper's 0.2 % is
/// taken for their standard uncertainty). Refuses ("no-board", "curled", "board").
Result<PlaneMap> from_checkerboard(const cv::Mat& photo, const Camera& camera, int columns, int rows, double square_mm);

/// Standard uncertainty of the area scale at that pixel as a share: the map's covariance and the reference's own size.
double area_scale_u(const PlaneMap& map, const ImagePoint& at);

/// Two references in one photo, compared at that pixel: a warning when their area scales differ by more than three standard uncertainties.
std::optional<Warning> disagreement(const PlaneMap& a, const PlaneMap& b, const ImagePoint& at);

}  // namespace uroko::scale
