#include "scale/board_find.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/aruco.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>

#include "scale/lens_from_points.h"
#include "scale/saddle.h"
#include "uroko/geometry/homography.h"

namespace uroko::scale {

namespace {

struct Marker {
  int index;                        // in the board's count
  std::array<ImagePoint, 4> seen;   // photo pixels
  std::array<PlanePoint, 4> real;
};

cv::Mat grey_of(const cv::Mat& picture) {
  if (picture.channels() == 1) return picture;
  cv::Mat grey;
  cv::cvtColor(picture, grey, cv::COLOR_BGR2GRAY);
  return grey;
}

/// A smaller copy: halved while it can be (means of 2 x 2), the rest, less than another half, by straight lines; a fifth of the time of areas.
cv::Mat reduced_to(const cv::Mat& grey, double factor) {
  const cv::Size wanted(static_cast<int>(std::lround(grey.cols * factor)), static_cast<int>(std::lround(grey.rows * factor)));
  cv::Mat out = grey;
  while (out.cols % 2 == 0 && out.rows % 2 == 0 && out.cols / 2 >= wanted.width) {
    cv::Mat half;
    cv::resize(out, half, {out.cols / 2, out.rows / 2}, 0, 0, cv::INTER_AREA);
    out = half;
  }
  if (out.size() == wanted) return out;
  cv::Mat last;
  cv::resize(out, last, wanted, 0, 0, out.cols < 2 * wanted.width ? cv::INTER_LINEAR : cv::INTER_AREA);
  return last;
}

double side_of(const Marker& m) {
  return (distance(m.seen[0], m.seen[1]) + distance(m.seen[1], m.seen[2]) + distance(m.seen[2], m.seen[3]) + distance(m.seen[3], m.seen[0])) / 4;
}

/// The board's codes, then the same as a mirror shows them.
cv::Ptr<cv::aruco::Dictionary> codes_of(const Board& board) {
  const auto all = cv::aruco::getPredefinedDictionary(board.first_id + board.marker_count() <= 50 ? cv::aruco::DICT_4X4_50 : cv::aruco::DICT_4X4_100);
  auto codes = cv::makePtr<cv::aruco::Dictionary>();
  codes->markerSize = all->markerSize;
  codes->maxCorrectionBits = all->maxCorrectionBits;
  std::vector<cv::Mat> plain, mirrored;
  for (int i = 0; i < board.marker_count(); ++i) {
    plain.push_back(all->bytesList.row(board.first_id + i));
    cv::Mat bits = cv::aruco::Dictionary::getBitsFromByteList(plain.back(), all->markerSize);
    cv::flip(bits, bits, 1);
    mirrored.push_back(cv::aruco::Dictionary::getByteListFromBits(bits));
  }
  plain.insert(plain.end(), mirrored.begin(), mirrored.end());
  cv::vconcat(plain, codes->bytesList);
  return codes;
}

struct Markers {
  std::vector<Marker> plain;
  std::vector<Marker> mirrored;  // `seen` as in the mirror picture, its first column where the photo's last is
};

Markers detect(const cv::Mat& grey, const Board& board, double sx, double sy) {
  auto parameters = cv::aruco::DetectorParameters::create();
  parameters->adaptiveThreshWinSizeMin = 5;
  parameters->adaptiveThreshWinSizeMax = 23;
  parameters->adaptiveThreshWinSizeStep = 9;
  parameters->minMarkerPerimeterRate = 0.02;
  parameters->perspectiveRemovePixelPerCell = 6;
  std::vector<std::vector<cv::Point2f>> corners;
  std::vector<int> ids;
  cv::aruco::detectMarkers(grey, codes_of(board), corners, ids, parameters);
  Markers out;
  for (std::size_t i = 0; i < ids.size(); ++i) {
    const bool mirrored = ids[i] >= board.marker_count();
    Marker m;
    m.index = ids[i] % board.marker_count();
    const PlanePoint at = board.marker(m.index);
    const double s = board.marker_mm;
    m.real = {{{at.x, at.y}, {at.x + s, at.y}, {at.x + s, at.y + s}, {at.x, at.y + s}}};
    for (std::size_t k = 0; k < 4; ++k) {
      // In a mirror left and right change places, so the corners pair by pair.
      const cv::Point2f& p = corners[i][mirrored ? k ^ 1U : k];
      m.seen[k] = {((mirrored ? static_cast<float>(grey.cols - 1) - p.x : p.x) + 0.5) * sx - 0.5, (p.y + 0.5) * sy - 0.5};
    }
    (mirrored ? out.mirrored : out.plain).push_back(m);
  }
  return out;
}

ImagePoint centre(const std::array<ImagePoint, 4>& c) { return {(c[0].x + c[1].x + c[2].x + c[3].x) / 4, (c[0].y + c[1].y + c[2].y + c[3].y) / 4}; }

/// The largest set of markers that lie as on one board: each proposes where the others are, roughly.
std::vector<Marker> agreeing(const std::vector<Marker>& all, const Board& board) {
  std::vector<Marker> best;
  double best_side = 0;
  for (const auto& m : all) {
    // Affine from the marker's corners: a homography from so few pixels extrapolates worse.
    Eigen::Matrix<double, 4, 3> a;
    Eigen::Matrix<double, 4, 2> b;
    for (int k = 0; k < 4; ++k) a.row(k) << m.real[k].x, m.real[k].y, 1, b.row(k) << m.seen[k].x, m.seen[k].y;
    const Eigen::Matrix<double, 3, 2> affine = a.colPivHouseholderQr().solve(b);
    const double side = side_of(m);
    std::vector<Marker> set;
    for (const auto& other : all) {
      const double x = (other.real[0].x + other.real[2].x) / 2, y = (other.real[0].y + other.real[2].y) / 2;
      const Eigen::Vector2d p = affine.transpose() * Eigen::Vector3d(x, y, 1);
      const double squares = std::hypot(x - (m.real[0].x + m.real[2].x) / 2, y - (m.real[0].y + m.real[2].y) / 2) / board.square_mm;
      const ImagePoint c = centre(other.seen);
      const double ratio = side_of(other) / side;
      if (std::hypot(p.x() - c.x, p.y() - c.y) < side * (0.3 + 0.25 * squares) && ratio > 0.4 && ratio < 2.5) {
        // One marker twice (a second card in the photo): the nearer to the prediction stays.
        const auto twin = std::find_if(set.begin(), set.end(), [&](const Marker& q) { return q.index == other.index; });
        if (twin == set.end()) {
          set.push_back(other);
        } else if (std::hypot(p.x() - c.x, p.y() - c.y) < std::hypot(p.x() - centre(twin->seen).x, p.y() - centre(twin->seen).y)) {
          *twin = other;
        }
      }
    }
    if (set.size() > best.size() || (set.size() == best.size() && side > best_side)) best = set, best_side = side;
  }
  if (best.size() < 2) return best;
  // Then strictly, on one homography.
  std::vector<cv::Point2f> from, to;
  double side = 0;
  for (const auto& m : best) {
    side += side_of(m) / static_cast<double>(best.size());
    for (int k = 0; k < 4; ++k) {
      from.emplace_back(static_cast<float>(m.real[k].x), static_cast<float>(m.real[k].y));
      to.emplace_back(static_cast<float>(m.seen[k].x), static_cast<float>(m.seen[k].y));
    }
  }
  cv::setRNGSeed(7);
  cv::Mat mask;
  const cv::Mat h = cv::findHomography(from, to, cv::RANSAC, std::max(0.2 * side, 3.0), mask);
  if (h.empty()) return {};
  std::vector<Marker> kept;
  for (std::size_t i = 0; i < best.size(); ++i) {
    int votes = 0;
    for (int k = 0; k < 4; ++k) votes += mask.at<uchar>(static_cast<int>(4 * i) + k) != 0;
    if (votes >= 3) kept.push_back(best[i]);
  }
  return kept;
}

using Map = Homography<ImagePoint, PlanePoint>;

std::optional<Map> fit(const std::vector<ImagePoint>& seen, const std::vector<PlanePoint>& real, const Camera& camera) {
  const auto ideal = camera.undistorted(seen);
  const auto fitted = fit_homography<ImagePoint, PlanePoint>(ideal, real);
  if (!fitted) return std::nullopt;
  return fitted->to_from;
}

struct Level {
  cv::Mat grey;       // part of the photo, reduced or not
  cv::Point origin;   // its first pixel, in the reduced photo's pixels
  double sx, sy;      // photo pixels per reduced pixel
  ImagePoint to_level(const ImagePoint& p) const { return {(p.x + 0.5) / sx - 0.5, (p.y + 0.5) / sy - 0.5}; }
  ImagePoint to_photo(const ImagePoint& p) const { return {(p.x + 0.5) * sx - 0.5, (p.y + 0.5) * sy - 0.5}; }
};

/// One pass over all saddle points, each looked for where the map says; accepted ones are returned.
struct Pass {
  std::vector<ImagePoint> seen;
  std::vector<PlanePoint> real;
  std::vector<int> index;
  std::vector<double> u;
};

Pass refine(const Level& level, const Board& board, const Camera& camera, const Map& map) {
  const auto image_of = [&, inverse = map.inverse()](const PlanePoint& p) { return level.to_level(camera.distorted(inverse(p))); };
  std::vector<Saddle> found(static_cast<std::size_t>(board.saddle_count()));
  const auto look_for = [&](int i) {
    const PlanePoint real = board.saddle(i);
    constexpr double step = 1;  // mm
    const ImagePoint at = image_of(real), right = image_of({real.x + step, real.y}), down = image_of({real.x, real.y + step});
    const Eigen::Vector2d u(right.x - at.x, right.y - at.y), v(down.x - at.x, down.y - at.y);
    const double inset = (board.square_mm - board.marker_mm) / 2;
    // The nearest foreign edge is the corner of the markers in the two white squares.
    const double to_corner = inset * std::min((u + v).norm(), (u - v).norm());
    const double radius = std::clamp(0.9 * to_corner, 3.2, 18.0);
    if (!(at.x > -1e6 && at.x < 1e6 && at.y > -1e6 && at.y < 1e6)) return;
    Saddle s = fit_saddle(level.grey, level.origin, at, u, v, radius);
    if (!s.found) return;
    const int column = i % (board.columns - 1), row = i / (board.columns - 1);
    const bool dark_first = (column + row) % 2 == 0;
    const double far = std::max(0.08 * board.square_mm * std::min(u.norm(), v.norm()), 1.5);
    if ((s.height < 0) != dark_first || s.misfit > 0.3 || std::abs(s.height) < 6 || distance(s.at, at) > far) return;
    s.at = level.to_photo(s.at);
    s.u_px *= level.sx;
    found[static_cast<std::size_t>(i)] = s;
  };
  cv::parallel_for_(cv::Range(0, board.saddle_count()), [&](const cv::Range& some) {
    for (int i = some.start; i < some.end; ++i) look_for(i);
  });
  std::vector<double> heights;
  for (const auto& s : found)
    if (s.height != 0) heights.push_back(std::abs(s.height));
  Pass pass;
  if (heights.empty()) return pass;
  std::nth_element(heights.begin(), heights.begin() + static_cast<long>(heights.size() / 2), heights.end());
  const double usual = heights[heights.size() / 2];
  for (int i = 0; i < board.saddle_count(); ++i) {
    const Saddle& s = found[static_cast<std::size_t>(i)];
    if (s.height == 0 || std::abs(s.height) < 0.3 * usual) continue;
    pass.seen.push_back(s.at);
    pass.real.push_back(board.saddle(i));
    pass.index.push_back(i);
    pass.u.push_back(s.u_px);
  }
  return pass;
}

/// Saddle points far off the common map are dropped: more than five times the usual distance and more than 1.5 px. A curled card moves its
/// points together, so it keeps them and shows in the residual.
void drop_strays(Pass& pass, const Camera& known) {
  for (int round = 0; round < 4 && pass.seen.size() > 6; ++round) {
    // Through an unknown lens the outermost points lie off the map most, and tell most of the lens: they are no strays.
    const Camera camera = lens_from_points(known, pass.seen, pass.real, 0.1);
    const auto map = fit(pass.seen, pass.real, camera);
    if (!map) return;
    const auto inverse = map->inverse();
    std::vector<double> off;
    for (std::size_t i = 0; i < pass.seen.size(); ++i) off.push_back(distance(camera.distorted(inverse(pass.real[i])), pass.seen[i]));
    std::vector<double> sorted = off;
    std::nth_element(sorted.begin(), sorted.begin() + static_cast<long>(sorted.size() / 2), sorted.end());
    const double limit = std::max(5 * sorted[sorted.size() / 2], 0.5);
    const auto worst = std::max_element(off.begin(), off.end());
    if (*worst <= limit) return;
    const auto k = worst - off.begin();
    pass.seen.erase(pass.seen.begin() + k);
    pass.real.erase(pass.real.begin() + k);
    pass.index.erase(pass.index.begin() + k);
    pass.u.erase(pass.u.begin() + k);
  }
}

bool spread_out(const Pass& pass, const Board& board) {
  if (pass.index.size() < 6) return false;
  std::vector<bool> rows(static_cast<std::size_t>(board.rows)), columns(static_cast<std::size_t>(board.columns));
  for (const int i : pass.index) columns[static_cast<std::size_t>(i % (board.columns - 1))] = true, rows[static_cast<std::size_t>(i / (board.columns - 1))] = true;
  return std::count(rows.begin(), rows.end(), true) >= 2 && std::count(columns.begin(), columns.end(), true) >= 2;
}

}  // namespace

std::optional<FoundBoard> find_board(const cv::Mat& photo, const Board& board, const Camera& camera, bool* mirrored) {
  if (mirrored) *mirrored = false;
  if (photo.empty()) return std::nullopt;
  const int longer = std::max(photo.cols, photo.rows);
  const cv::Mat full = grey_of(photo);
  std::vector<Marker> markers;
  std::size_t detected = 0;
  Level reduced;
  // Most cards show on a small copy; a part of one asks for the full size, nothing at all only for one more look.
  for (const int side : {1600, 2600, 6400}) {
    if (side > 2600 && markers.empty()) break;
    const bool whole = longer <= side * 5 / 4;
    const cv::Mat grey = whole ? full : reduced_to(full, static_cast<double>(side) / longer);
    const double sx = static_cast<double>(photo.cols) / grey.cols, sy = static_cast<double>(photo.rows) / grey.rows;
    const auto all = detect(grey, board, sx, sy);
    auto set = agreeing(all.plain, board);
    if (mirrored && side == 1600) *mirrored = agreeing(all.mirrored, board).size() >= 4;
    if (set.size() > markers.size()) {
      markers = std::move(set);
      detected = all.plain.size();
      reduced = {grey, {0, 0}, sx, sy};
    }
    if (whole || markers.size() >= 4) break;
  }
  if (markers.size() < 2 && longer <= 2600) {
    // Small or soft markers in a small photo: twice the size, sharpened by what a blur of about two pixels took.
    cv::Mat large, soft;
    cv::resize(full, large, {}, 2, 2, cv::INTER_CUBIC);
    cv::GaussianBlur(large, soft, {}, 5);
    cv::addWeighted(large, 2.5, soft, -1.5, 0, large);
    cv::GaussianBlur(large, large, {}, 1.2);
    const auto all = detect(large, board, 0.5, 0.5).plain;
    auto set = agreeing(all, board);
    if (set.size() > markers.size()) {
      markers = std::move(set);
      detected = all.size();
      reduced = {full, {0, 0}, 1, 1};
    }
  }
  if (markers.size() < 2) return std::nullopt;

  FoundBoard out;
  out.markers = static_cast<int>(markers.size());
  out.apart = static_cast<int>(detected - markers.size());
  for (const auto& m : markers) {
    out.marker_side_px += side_of(m) / out.markers;
    for (int k = 0; k < 4; ++k) out.marker_corners.push_back(m.seen[k]), out.marker_corners_mm.push_back(m.real[k]);
  }
  auto map = fit(out.marker_corners, out.marker_corners_mm, camera);
  if (!map) return std::nullopt;
  Pass pass;
  bool by_saddles = false;  // the map comes from saddle points, not from the markers' corners
  const auto improve = [&](const Level& level) {
    for (int round = 0; round < 3; ++round) {
      Pass next = refine(level, board, camera, *map);
      drop_strays(next, camera);
      if (!spread_out(next, board)) return;
      const bool grew = next.seen.size() > pass.seen.size();
      const auto better = fit(next.seen, next.real, camera);
      if (!better) return;
      map = better;
      pass = std::move(next);
      // A map from saddle points puts each fit where it belongs; with all of them found there is nothing left to look for.
      const bool settled = (by_saddles || level.sx > 1) && pass.seen.size() == static_cast<std::size_t>(board.saddle_count());
      by_saddles = true;
      if (settled || (!grew && round > 0)) return;
    }
  };
  if (reduced.sx > 1.2) improve(reduced);
  pass = {};
  // At full size only what the board covers.
  double left = 1e9, top = 1e9, right = -1e9, bottom = -1e9;
  for (const double x : {0.0, 1.0}) {
    for (const double y : {0.0, 1.0}) {
      const ImagePoint p =
          camera.distorted(map->inverse()({board.x + x * board.columns * board.square_mm, board.y + y * board.rows * board.square_mm}));
      left = std::min(left, p.x), right = std::max(right, p.x), top = std::min(top, p.y), bottom = std::max(bottom, p.y);
    }
  }
  const cv::Rect box = cv::Rect(cv::Point(static_cast<int>(std::max(left - 4, -1e6)), static_cast<int>(std::max(top - 4, -1e6))),
                                cv::Point(static_cast<int>(std::min(right + 4, 1e6)), static_cast<int>(std::min(bottom + 4, 1e6)))) &
                       cv::Rect(0, 0, photo.cols, photo.rows);
  if (box.empty()) return std::nullopt;
  improve({full(box), box.tl(), 1, 1});
  out.saddles = std::move(pass.seen);
  out.saddles_mm = std::move(pass.real);
  out.indices = std::move(pass.index);
  out.u_px = std::move(pass.u);
  out.px_per_mm = out.marker_side_px / board.marker_mm;
  return out;
}

}  // namespace uroko::scale
