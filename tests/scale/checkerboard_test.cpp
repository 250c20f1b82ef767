// Checkerboard mats: opencv-doc's real boards (13 photos, 640 x 480, 9x6 inner corners of 25 mm, with the calibration stored beside them).
#include <catch2/catch.hpp>
#include <filesystem>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>

#include "support/flat_photo.h"
#include "uroko/geometry/polygon.h"
#include "uroko/photo/photo.h"
#include "uroko/scale/references.h"

using namespace uroko;
using namespace uroko::scale;
using uroko::testing::area_ratio;
using uroko::testing::FlatView;

namespace {

const std::filesystem::path boards = "/usr/share/doc/opencv-doc/examples/data";

/// opencv-doc's left_intrinsics.yml.
Camera stored_lens() {
  Camera c;
  c.from = Camera::From::profile;
  c.fx = c.fy = 5.3591573396163199e+02, c.cx = 3.4228315473308373e+02, c.cy = 2.3557082909788173e+02;
  c.k1 = -2.6637260909660682e-01, c.k2 = -3.8588898922304653e-02, c.p1 = 1.7831947042852964e-03, c.p2 = -2.8122100441115472e-04, c.k3 = 2.3839153080878486e-01;
  return c;
}

/// A mat of 8 x 6 squares of 10 mm with a white rim of 10 mm, 12 px/mm.
cv::Mat mat_print() {
  constexpr int s = 12;
  cv::Mat print(80 * s, 100 * s, CV_8UC3, cv::Scalar::all(250));
  for (int r = 0; r < 6; ++r)
    for (int c = 0; c < 8; ++c)
      if ((r + c) % 2 == 0) print(cv::Rect((10 + 10 * c) * s, (10 + 10 * r) * s, 10 * s, 10 * s)).setTo(cv::Scalar::all(15));
  return print;
}

}  // namespace

TEST_CASE("a checkerboard mat gives areas to a thousandth at any turn and to 40 degrees of tilt") {
  for (const double tilt : {0.0, 20.0, 40.0})
    for (const double turn : {0.0, 100.0, 200.0}) {
      FlatView view;
      view.tilt_deg = tilt, view.turn_deg = turn, view.tilt_towards_deg = 70;
      const auto photo = uroko::testing::photograph(mat_print(), 12, view);
      const auto map = from_checkerboard(photo.bgr, assumed_camera(view.width, view.height), 7, 5, 10);
      INFO("tilt " << tilt << ", turn " << turn);
      REQUIRE(map.ok());
      CHECK(map->kind == Kind::board);
      CHECK(map->points == 35);
      CHECK(map->tilt_deg == Approx(tilt).margin(2));
      CHECK(map->warnings.size() == (tilt > 30 ? 1 : 0));
      // Beside the mat.
      CHECK(area_ratio(*map, photo, 115, 40, 10) == Approx(1).margin(0.002));
      REQUIRE(map->pose);
      CHECK(map->pose->rotation.determinant() == Approx(1));
    }
}

TEST_CASE("a mat that is not there, of another count or of no size is refused in words") {
  // Small: where nothing is found everything is tried.
  FlatView view;
  view.width = 640, view.height = 480, view.focal_px = 704;
  const auto photo = uroko::testing::photograph(mat_print(), 12, view);
  const auto camera = assumed_camera(view.width, view.height);
  CHECK(from_checkerboard(photo.bgr, camera, 9, 6, 10).refusal().code == "no-board");
  CHECK(from_checkerboard(photo.bgr, camera, 2, 6, 10).refusal().code == "board");
  CHECK(from_checkerboard(photo.bgr, camera, 7, 5, 0).refusal().code == "board");
  CHECK(from_checkerboard({}, camera, 7, 5, 10).refusal().code == "no-board");
}

TEST_CASE("blocks of opencv-doc's boards are as large as their squares say, within what the map's doubt explains") {
  if (!std::filesystem::exists(boards / "left01.jpg")) {
    WARN("skipped: Debian's opencv-doc is not installed");
    return;
  }
  int photos = 0, blocks = 0, held = 0;
  double sum = 0, worst = 0, worst_assumed = 0;
  for (int i = 1; i <= 14; ++i) {
    const auto file = boards / ((i < 10 ? "left0" : "left") + std::to_string(i) + ".jpg");
    if (!std::filesystem::exists(file)) continue;
    const auto photo = photo::load(file);
    const auto map = from_checkerboard(photo.bgr, stored_lens(), 9, 6, 25);
    const auto assumed = from_checkerboard(photo.bgr, assumed_camera(640, 480), 9, 6, 25);
    INFO(file.filename().string());
    REQUIRE(map.ok());
    ++photos;
    // OpenCV's own corners, not the ones that the map was fitted to.
    cv::Mat grey;
    cv::cvtColor(photo.bgr, grey, cv::COLOR_BGR2GRAY);
    std::vector<cv::Point2f> corners;
    REQUIRE(cv::findChessboardCorners(grey, {9, 6}, corners));
    cv::cornerSubPix(grey, corners, {5, 5}, {-1, -1}, {cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 40, 0.001});
    const auto corner = [&](int c, int r) { return ImagePoint{corners[static_cast<std::size_t>(r * 9 + c)].x, corners[static_cast<std::size_t>(r * 9 + c)].y}; };
    for (const auto& [c, r] : {std::pair{0, 0}, {5, 0}, {0, 2}, {5, 2}}) {
      const ImageOutline block{{{{corner(c, r), corner(c + 3, r), corner(c + 3, r + 3), corner(c, r + 3)}, {}}}};
      const double miss = area(map->to_plane(block)) / (75 * 75) - 1;
      // The printed corners lie up to 0.2 mm off the grid (references.md): 0.2 / 75 of each side, in two directions.
      const double u = std::hypot(area_scale_u(*map, centroid(block)), 0.2 / 75 * std::sqrt(2));
      sum += miss;
      worst = std::max(worst, std::abs(miss));
      ++blocks;
      held += std::abs(miss) < 2 * u;
      if (assumed) worst_assumed = std::max(worst_assumed, std::abs(area(assumed->to_plane(block)) / (75 * 75) - 1));
    }
  }
  INFO(photos << " photos, " << blocks << " blocks: mean " << 100 * sum / blocks << " %, worst " << 100 * worst << " %, " << held << " within two standard doubts; worst without the profile "
              << 100 * worst_assumed << " %");
  CHECK(photos == 13);
  // The same four blocks in all photos: their own print error does not average out.
  CHECK(std::abs(sum / blocks) < 2 * 0.2 / 75 * std::sqrt(2));
  CHECK(worst < 0.02);
  CHECK(held >= 0.93 * blocks);
  CHECK(worst_assumed > worst);
}

TEST_CASE("a mat asked for with the wrong number of corners is refused in a moment, not searched for minutes") {
  FlatView view;
  view.tilt_deg = 12, view.turn_deg = 20;
  const auto photo = uroko::testing::photograph(mat_print(), 16, view);
  for (const auto& [columns, rows] : {std::pair{9, 5}, std::pair{8, 6}}) {
    const auto none = from_checkerboard(photo.bgr, assumed_camera(view.width, view.height), columns, rows, 10);
    INFO(columns << " x " << rows);
    REQUIRE_FALSE(none.ok());
    CHECK(none.refusal().code == "no-board");
  }
  // A mat that is small in the photo is found all the same.
  view.distance_mm = 600;  // squares of 29 px, 12 px in the first picture that is searched
  const auto far = uroko::testing::photograph(mat_print(), 16, view);
  const auto map = from_checkerboard(far.bgr, assumed_camera(view.width, view.height), 7, 5, 10);
  INFO((map ? std::string() : map.refusal().text));
  CHECK(map.ok());
}
