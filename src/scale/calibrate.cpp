#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>
#include <set>

#include "scale/board_find.h"
#include "scale/saddle.h"
#include "uroko/base/text.h"
#include "uroko/scale/lens.h"

namespace uroko::scale {

namespace {

constexpr int least_views = 5;
constexpr int cells_across = 16, cells_down = 12;

/// OpenCV's finder tries ever coarser squares while it does not find all corners: minutes for a wrong number of corners in a sharp photo of 1600 px,
/// a tenth of a second at 640 px without the grain. So the small picture comes first, then one of 1000 px, and for boards that are small in the
/// photo the finder by sectors (Duda & Frese 2018), whose time does not depend on what is there.
bool rough_corners(const cv::Mat& picture, cv::Size corners, std::vector<cv::Point2f>& rough) {
  for (const double side : {640.0, 1000.0}) {
    const double s = std::min(1.0, side / std::max(picture.cols, picture.rows));
    cv::Mat small = picture;
    if (s < 1) cv::resize(picture, small, {}, s, s, cv::INTER_AREA);
    // Where the photo itself is that small there is no grain to spare its corners for.
    for (const double blur : s < 1 ? std::vector<double>{1.0} : std::vector<double>{1.0, 0.0}) {
      cv::Mat soft = small;
      if (blur > 0) cv::GaussianBlur(small, soft, {}, blur);
      if (!cv::findChessboardCorners(soft, corners, rough, cv::CALIB_CB_ADAPTIVE_THRESH | cv::CALIB_CB_NORMALIZE_IMAGE)) continue;
      if (s == 1) return true;
      double least = 1e9;
      for (std::size_t i = 0; i + 1 < rough.size(); ++i)
        if ((static_cast<int>(i) + 1) % corners.width != 0) least = std::min(least, cv::norm(rough[i + 1] - rough[i]) / s);
      for (auto& p : rough) p = {static_cast<float>((p.x + 0.5) / s - 0.5), static_cast<float>((p.y + 0.5) / s - 0.5)};
      const int window = std::clamp(static_cast<int>(0.3 * least), 2, 10);
      cv::cornerSubPix(picture, rough, {window, window}, {-1, -1}, {cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 30, 0.01});
      return true;
    }
    if (s == 1) break;
  }
  return cv::findChessboardCornersSB(picture, corners, rough, cv::CALIB_CB_NORMALIZE_IMAGE);
}

Result<BoardView> find_checkerboard(const cv::Mat& grey, const CalibrationBoard& board) {
  const int longer = std::max(grey.cols, grey.rows);
  const double s = std::min(1.0, 1600.0 / longer);
  cv::Mat small = grey;
  if (s < 1) cv::resize(grey, small, {}, s, s, cv::INTER_AREA);
  std::vector<cv::Point2f> rough;
  if (!rough_corners(small, {board.columns, board.rows}, rough))
    return Refusal{"no-board", "no checkerboard of " + std::to_string(board.columns) + " x " + std::to_string(board.rows) + " inner corners was found",
                   "show the whole board with a white rim, sharp and evenly lit"};
  const double sx = static_cast<double>(grey.cols) / small.cols, sy = static_cast<double>(grey.rows) / small.rows;
  const auto at = [&](int c, int r) {
    const auto& p = rough[static_cast<std::size_t>(r * board.columns + c)];
    return Eigen::Vector2d((p.x + 0.5) * sx - 0.5, (p.y + 0.5) * sy - 0.5);
  };
  BoardView view;
  for (int r = 0; r < board.rows; ++r) {
    for (int c = 0; c < board.columns; ++c) {
      const Eigen::Vector2d p = at(c, r);
      const int c0 = std::max(c - 1, 0), c1 = std::min(c + 1, board.columns - 1), r0 = std::max(r - 1, 0), r1 = std::min(r + 1, board.rows - 1);
      const Eigen::Vector2d u = (at(c1, r) - at(c0, r)) / (c1 - c0), v = (at(c, r1) - at(c, r0)) / (r1 - r0);
      // Neighbouring edges are a square away; the corner itself needs only the near part of the square.
      const double radius = std::clamp(0.6 * std::min(u.norm(), v.norm()), 3.2, 16.0);
      const Saddle saddle = fit_saddle(grey, {0, 0}, {p.x(), p.y()}, u, v, radius);
      if (!saddle.found || saddle.misfit > 0.4 || std::hypot(saddle.at.x - p.x(), saddle.at.y - p.y()) > 0.3 * std::min(u.norm(), v.norm()))
        return Refusal{"no-board", "the checkerboard's corners are not sharp enough", "hold still, add light and take the photo again"};
      view.seen.push_back(saddle.at);
      view.real.push_back({c * board.square_mm, r * board.square_mm});
    }
  }
  return view;
}

struct Solution {
  double rms = 0;
  cv::Mat k, d, sd;
  std::vector<double> view_rms;
  double apart_deg = 0;  // greatest angle between the boards of two views
};

Solution solve(const std::vector<const BoardView*>& views, cv::Size size) {
  std::vector<std::vector<cv::Point3f>> real;
  std::vector<std::vector<cv::Point2f>> seen;
  for (const auto* v : views) {
    real.emplace_back();
    seen.emplace_back();
    for (const auto& p : v->real) real.back().emplace_back(static_cast<float>(p.x), static_cast<float>(p.y), 0.F);
    for (const auto& p : v->seen) seen.back().emplace_back(static_cast<float>(p.x), static_cast<float>(p.y));
  }
  Solution s;
  std::vector<cv::Mat> r, t;
  cv::Mat sd_extrinsics, per_view;
  // The sixth-order term needs points out to the corners; with few views it only fits noise.
  const int flags = views.size() < 10 ? cv::CALIB_FIX_K3 : 0;
  s.rms = cv::calibrateCamera(real, seen, size, s.k, s.d, r, t, s.sd, sd_extrinsics, per_view, flags,
                              {cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 100, 1e-12});
  for (int i = 0; i < per_view.rows; ++i) s.view_rms.push_back(per_view.at<double>(i));
  std::vector<cv::Vec3d> normals;
  for (const auto& turn : r) {
    cv::Matx33d m;
    cv::Rodrigues(turn, m);
    normals.emplace_back(m(0, 2), m(1, 2), m(2, 2));
  }
  for (const auto& a : normals)
    for (const auto& b : normals) s.apart_deg = std::max(s.apart_deg, std::acos(std::clamp(a.dot(b), -1.0, 1.0)) * 180 / CV_PI);
  return s;
}

}  // namespace

Result<BoardView> find_calibration_board(const cv::Mat& photo, const CalibrationBoard& board) {
  if (photo.empty()) return Refusal{"no-board", "the photo is empty", "give photos of the board"};
  if (board.lens_sheet) {
    const Board& sheet = lens_sheet_layout().board;
    const auto found = find_board(photo, sheet, assumed_camera(photo.cols, photo.rows));
    if (!found || found->saddles.size() < 12)
      return Refusal{"no-board", "too little of the printed lens sheet was found", "show most of the sheet, sharp and evenly lit"};
    const double share = board.square_mm / sheet.square_mm;  // as printed
    BoardView view{found->saddles, {}};
    for (const auto& p : found->saddles_mm) view.real.push_back({p.x * share, p.y * share});
    return view;
  }
  cv::Mat grey = photo;
  if (photo.channels() != 1) cv::cvtColor(photo, grey, cv::COLOR_BGR2GRAY);
  return find_checkerboard(grey, board);
}

Result<LensProfile> calibrate(const std::vector<CalibrationPhoto>& photos, const CalibrationBoard& board) {
  LensProfile profile;
  std::vector<std::size_t> used;
  const photo::PhotoInfo* first = nullptr;
  for (std::size_t i = 0; i < photos.size(); ++i) {
    const auto& p = photos[i];
    profile.photos.push_back({p.info.file.string(), 0, p.view.ok() ? "" : p.view.refusal().text});
    if (!p.view.ok()) continue;
    if (!first) {
      first = &p.info;
    } else if (p.info.width_px != first->width_px || p.info.height_px != first->height_px || p.info.orientation != first->orientation ||
               p.info.camera_model != first->camera_model ||
               (p.info.focal_mm && first->focal_mm && std::abs(*p.info.focal_mm / *first->focal_mm - 1) > 0.005)) {
      return Refusal{"lens-mixed", "the photos " + first->file.string() + " and " + p.info.file.string() + " differ in size, way up, camera or focal length",
                     "give photos of one camera, held the same way, at one zoom"};
    }
    used.push_back(i);
  }
  const auto too_few = [&](const std::string& what) {
    return Refusal{"lens-views", what, "give at least " + std::to_string(least_views) + " sharp photos of the board from different sides, better ten or more"};
  };
  if (!first || used.size() < least_views) return too_few("the board was found in only " + std::to_string(used.size()) + " photos");
  const cv::Size size(first->width_px, first->height_px);
  Solution solution;
  while (true) {
    std::vector<const BoardView*> views;
    views.reserve(used.size());
    for (const auto i : used) views.push_back(&photos[i].view.value());
    solution = solve(views, size);
    std::vector<double> sorted = solution.view_rms;
    std::sort(sorted.begin(), sorted.end());
    const double median = sorted[sorted.size() / 2];
    const auto worst = std::max_element(solution.view_rms.begin(), solution.view_rms.end());
    if (*worst <= std::max(3 * median, 0.1)) break;
    const std::size_t k = static_cast<std::size_t>(worst - solution.view_rms.begin());
    profile.photos[used[k]].rejected = "it fits " + fixed_text(*worst / median, 1) + " times worse than the others (blur, or a bent board)";
    used.erase(used.begin() + static_cast<long>(k));
    if (used.size() < least_views) return too_few("only " + std::to_string(used.size()) + " photos agree with each other");
  }
  Camera upright;
  upright.from = Camera::From::profile;
  upright.fx = solution.k.at<double>(0, 0), upright.fy = solution.k.at<double>(1, 1);
  upright.cx = solution.k.at<double>(0, 2), upright.cy = solution.k.at<double>(1, 2);
  const double* d = solution.d.ptr<double>();
  upright.k1 = d[0], upright.k2 = d[1], upright.p1 = d[2], upright.p2 = d[3], upright.k3 = d[4];
  const double sd_focal = solution.sd.at<double>(0) / upright.fx;
  if (!std::isfinite(solution.rms) || !(upright.fx > 0) || sd_focal > 0.05)
    return too_few("the photos are too alike to tell the focal length (" + fixed_text(100 * sd_focal, 0) + " % uncertain)");
  if (solution.apart_deg < 15)
    return too_few("the board was held at nearly the same angle in all photos (" + fixed_text(solution.apart_deg, 0) + " degrees apart)");
  // Paper is never quite flat: the formal figure is taken three times.
  upright.focal_relative_u = std::max(3 * sd_focal, 0.001);

  std::set<int> cells;
  for (const auto i : used)
    for (const auto& p : photos[i].view->seen)
      cells.insert(std::clamp(static_cast<int>(p.x * cells_across / size.width), 0, cells_across - 1) +
                   cells_across * std::clamp(static_cast<int>(p.y * cells_down / size.height), 0, cells_down - 1));
  for (std::size_t k = 0; k < used.size(); ++k) profile.photos[used[k]].rms_px = solution.view_rms[k];
  profile.rms_px = solution.rms;
  profile.coverage = static_cast<double>(cells.size()) / (cells_across * cells_down);
  profile.views = static_cast<int>(used.size());
  profile.board = board.lens_sheet ? "printed lens sheet, squares of " + number_text(board.square_mm) + " mm"
                                   : "checkerboard of " + std::to_string(board.columns) + " x " + std::to_string(board.rows) + " inner corners, squares of " +
                                         number_text(board.square_mm) + " mm";
  profile.make = first->camera_make, profile.model = first->camera_model, profile.lens_model = first->lens_model, profile.focal_mm = first->focal_mm;
  // Back to the sensor as it lies.
  const bool across = first->orientation == 6 || first->orientation == 8;
  profile.width_px = across ? size.height : size.width;
  profile.height_px = across ? size.width : size.height;
  profile.camera = upright;
  const double W = size.width - 1, H = size.height - 1;
  Camera& c = profile.camera;
  if (first->orientation == 3) {
    c.cx = W - upright.cx, c.cy = H - upright.cy, c.p1 = -upright.p1, c.p2 = -upright.p2;
  } else if (first->orientation == 6) {
    c.cx = upright.cy, c.cy = W - upright.cx, c.p1 = -upright.p2, c.p2 = upright.p1;
    std::swap(c.fx, c.fy);
  } else if (first->orientation == 8) {
    c.cx = H - upright.cy, c.cy = upright.cx, c.p1 = upright.p2, c.p2 = -upright.p1;
    std::swap(c.fx, c.fy);
  }
  return profile;
}

}  // namespace uroko::scale
