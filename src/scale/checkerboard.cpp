#include <algorithm>
#include <cmath>

#include "scale/lens_from_points.h"
#include "scale/map_from_points.h"
#include "scale/warnings.h"
#include "uroko/base/text.h"
#include "uroko/scale/lens.h"
#include "uroko/scale/references.h"

namespace uroko::scale {

namespace {

/// As for the card: the grain of a corner's search; what noise does beyond it shows in the residual.
constexpr double corner_floor_px = 0.004;
/// Of a mat's square, as a share of its side: cutting mats and printed boards (common practice; the printed card has the same).
constexpr double made_u = 0.002;

}  // namespace

Result<PlaneMap> from_checkerboard(const cv::Mat& photo, const Camera& camera, int columns, int rows, double square_mm) {
  if (columns < 3 || rows < 3 || columns > 40 || rows > 40)
    return Refusal{"board", "a board of " + std::to_string(columns) + " x " + std::to_string(rows) + " inner corners cannot be looked for", "give 3 to 40 inner corners across and down"};
  if (!(square_mm > 0)) return Refusal{"board", "the side of a square is not above 0", "measure a square's side in millimetres"};
  auto found = find_calibration_board(photo, {false, columns, rows, square_mm});
  if (!found) return found.refusal();
  auto& seen = found->seen;
  auto& real = found->real;

  PlaneMap map;
  map.kind = Kind::board;
  map.scale_relative_u = made_u;
  const double wide = (columns - 1) * square_mm, high = (rows - 1) * square_mm;
  // The finder may count from either side; the plane is never seen from behind.
  const ImagePoint &first = seen.front(), &along = seen[static_cast<std::size_t>(columns - 1)], &down = seen[static_cast<std::size_t>(columns * (rows - 1))];
  if ((along.x - first.x) * (down.y - first.y) - (along.y - first.y) * (down.x - first.x) < 0)
    for (auto& p : real) p.x = wide - p.x;

  // A corner's own noise is not told by the finder; a tenth of a pixel is a soft one.
  constexpr double usual_noise_px = 0.1;
  map.camera = lens_from_points(camera, seen, real, usual_noise_px);
  // The squares around the inner corners belong to the mat.
  if (!fill_from_points(map, seen, real, corner_floor_px,
                        {{-square_mm, -square_mm}, {wide + square_mm, -square_mm}, {wide + square_mm, high + square_mm}, {-square_mm, high + square_mm}}))
    return Refusal{"no-board", "the checkerboard's corners do not fix a plane", "photograph the mat more squarely"};

  const double rms_mm = map.rms_px * map.mm_per_px(seen[seen.size() / 2]);
  if (rms_mm > 0.03 * square_mm)
    return Refusal{"curled", "the mat's corners miss a common plane by " + fixed_text(rms_mm, 2) + " mm: it does not lie flat",
                   "lay the mat on a flat, hard ground and take the photo again"};
  if (rms_mm > 0.03 && map.rms_px > 3 * usual_noise_px) {
    // Shared by neighbours: far fewer independent values than points.
    map.covariance *= 4;
    map.warnings.push_back(warning("curled", "the mat's corners miss a common plane by " + fixed_text(rms_mm, 2) +
                                                 " mm: it does not lie flat, its squares are unequal, or the lens bends the picture; use a lens profile"));
  }
  warn_of_tilt(map);
  const double side_px = distance(seen[0], seen[1]);
  if (side_px < 15)
    map.warnings.push_back(warning("small-reference", "the mat's squares are only " + fixed_text(side_px, 0) + " px wide; come closer"));
  return map;
}

}  // namespace uroko::scale
