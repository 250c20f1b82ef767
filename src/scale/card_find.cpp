#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "scale/board_find.h"
#include "scale/lens_from_points.h"
#include "scale/map_from_points.h"
#include "scale/warnings.h"
#include "uroko/base/text.h"
#include "uroko/scale/card.h"
#include "uroko/scale/references.h"

namespace uroko::scale {

namespace {

/// Least per-axis noise assumed of a saddle point, the grain of its search. What blur, noise, JPEG and the print do beyond it shows in the
/// residual of 24 points, of which the homography takes only 8 of 48 degrees of freedom.
constexpr double saddle_floor_px = 0.004;
/// Marker corners shift with ink spread and bloom; they stand in only where saddle points are missing.
constexpr double corner_floor_px = 0.4;

}  // namespace

Result<PlaneMap> find_card(const cv::Mat& photo, const Camera& camera, const CardOptions& options) {
  if (!(options.print_scale > 0.5 && options.print_scale < 2))
    return Refusal{"print-scale", "the print's check length is not between half and twice of what it should be", "measure the card's 0 to 100 again"};
  const CardLayout& card = card_layout();
  bool mirrored = false;
  const auto found = find_board(photo, card.board, camera, &mirrored);
  if (!found && mirrored)
    return Refusal{"mirrored", "the photo is a mirror picture: the printed card can be read only in a mirror",
                   "take the photo with the rear camera, or turn mirroring off, and use the file as the camera wrote it"};
  if (!found)
    return Refusal{"no-card", "no printed card was found in the photo",
                   "lay the card flat beside the wound, whole in the frame, sharp and without glare, or give another scale reference"};

  // One stray marker may be a false find; several are the other side of a fold, or another card.
  if (found->apart >= 3)
    return Refusal{"curled", std::to_string(found->apart) + " of the card's markers lie off the plane of the others: it is folded, or there are two cards in the photo",
                   "glue one card on a stiff board, lay it flat and take the photo again"};

  PlaneMap map;
  map.kind = Kind::card;
  map.camera = camera;
  map.scale_relative_u = options.print_scale_u;
  std::vector<ImagePoint> seen = found->saddles;
  std::vector<PlanePoint> real = found->saddles_mm;
  double floor = saddle_floor_px;
  const bool by_saddles = seen.size() >= 6;
  if (!by_saddles) {
    // Too few saddle points: the markers' own corners, refined on the whole photo. Two neighbours would extrapolate wildly (10 % and more).
    double left = 1e9, right = -1e9, top = 1e9, bottom = -1e9;
    for (const auto& p : found->marker_corners_mm)
      left = std::min(left, p.x), right = std::max(right, p.x), top = std::min(top, p.y), bottom = std::max(bottom, p.y);
    if (found->markers < 3 || right - left < 4 * card.board.square_mm || bottom - top < 1.5 * card.board.square_mm)
      return Refusal{"partial-card", "too little of the printed card can be seen to measure by it (" + std::to_string(found->markers) + " markers)",
                     "show the whole card, sharp and without glare, or give another scale reference"};
    std::vector<cv::Point2f> corners;
    for (const auto& p : found->marker_corners) corners.emplace_back(static_cast<float>(p.x), static_cast<float>(p.y));
    cv::Mat grey = photo;
    if (photo.channels() != 1) cv::cvtColor(photo, grey, cv::COLOR_BGR2GRAY);
    const int window = std::clamp(static_cast<int>(std::lround(found->marker_side_px / 12)), 2, 8);
    cv::cornerSubPix(grey, corners, {window, window}, {-1, -1}, {cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 40, 0.005});
    seen.clear();
    for (const auto& c : corners) seen.push_back({c.x, c.y});
    real = found->marker_corners_mm;
    floor = corner_floor_px;
    map.scale_relative_u = std::hypot(map.scale_relative_u, 0.008);
    map.warnings.push_back(warning("partial-card",
                                   "only " + std::to_string(found->markers) + " markers of the card could be used; uncover the card or avoid glare on it"));
  }
  for (auto& p : real) p.x *= options.print_scale, p.y *= options.print_scale;
  double noise = 0;
  if (by_saddles) {
    for (const double u : found->u_px) noise += u * u / static_cast<double>(found->u_px.size());
    noise = std::sqrt(noise);
    map.camera = lens_from_points(camera, seen, real, noise);
  }
  const double w = card.width_mm * options.print_scale, h = card.height_mm * options.print_scale;
  if (!fill_from_points(map, seen, real, floor, {{0, 0}, {w, 0}, {w, h}, {0, h}}))
    return Refusal{"no-card", "the card was seen but too little of it to fix its plane", "uncover the card and take the photo again"};

  // A flat card leaves the points' own noise; a curled one leaves what its bend does to the picture, alike for neighbours.
  if (by_saddles) {
    const double rms_mm = map.rms_px * map.mm_per_px({(seen.front().x + seen.back().x) / 2, (seen.front().y + seen.back().y) / 2});
    // At 0.12 mm a fold across the card's middle makes an area beside it about 6 % wrong, more than the residual lets expect.
    if (rms_mm > 0.12 || (rms_mm > 0.08 && found->saddles.size() < 14))
      return Refusal{"curled", "the card's points miss a common plane by " + fixed_text(rms_mm, 2) + " mm: it is curled or folded",
                     "glue the card on a stiff board, lay it flat and take the photo again; for a wide-angle lens make a lens profile"};
    if (rms_mm > 0.02 && map.rms_px > 3 * std::hypot(noise, 0.05)) {
      // The bend's residual is shared by neighbours: far fewer independent values than points.
      map.covariance *= 4;
      map.warnings.push_back(warning("curled", "the card's points miss a common plane by " + fixed_text(rms_mm, 2) +
                                                   " mm: it is curled or the lens bends the picture; use a stiff card or a lens profile"));
    }
    if (found->saddles.size() < 12)
      map.warnings.push_back(warning("partial-card", "only " + std::to_string(found->saddles.size()) + " of " +
                                                         std::to_string(card.board.saddle_count()) +
                                                         " points of the card could be used; uncover the card or avoid glare on it"));
  }
  warn_of_tilt(map);
  if (found->marker_side_px < 30)
    map.warnings.push_back(warning("small-reference", "the card's markers are only " + fixed_text(found->marker_side_px, 0) +
                                                          " px wide; come closer so that they are at least 30 px"));
  return map;
}

}  // namespace uroko::scale
