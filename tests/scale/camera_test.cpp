#include "uroko/scale/camera.h"

#include <catch2/catch.hpp>
#include <opencv2/calib3d.hpp>

#include "uroko/scale/plane_map.h"

using namespace uroko;
using namespace uroko::scale;

namespace {

Camera bent() {
  Camera c = assumed_camera(1600, 1200);
  c.k1 = -0.18, c.k2 = 0.05, c.p1 = 0.001, c.p2 = -0.0007, c.k3 = 0.01;
  return c;
}

}  // namespace

TEST_CASE("undoing the lens is the exact inverse of applying it, all over the frame") {
  const Camera c = bent();
  for (double x = 0; x < 1600; x += 133) {
    for (double y = 0; y < 1200; y += 133) {
      const auto back = c.distorted(c.undistorted({x, y}));
      CHECK(distance(back, ImagePoint{x, y}) < 1e-9);
    }
  }
}

TEST_CASE("the lens model is OpenCV's") {
  const Camera c = bent();
  const cv::Mat k = (cv::Mat_<double>(3, 3) << c.fx, 0, c.cx, 0, c.fy, c.cy, 0, 0, 1), d = (cv::Mat_<double>(1, 5) << c.k1, c.k2, c.p1, c.p2, c.k3);
  for (const ImagePoint p : {ImagePoint{10, 20}, ImagePoint{800, 1190}, ImagePoint{1500, 300}}) {
    const std::vector<cv::Point3d> ray{{(p.x - c.cx) / c.fx, (p.y - c.cy) / c.fy, 1}};
    std::vector<cv::Point2d> seen;
    cv::projectPoints(ray, cv::Vec3d(0, 0, 0), cv::Vec3d(0, 0, 0), k, d, seen);
    const auto ours = c.distorted(p);
    CHECK(ours.x == Approx(seen[0].x).margin(1e-9));
    CHECK(ours.y == Approx(seen[0].y).margin(1e-9));
  }
}

TEST_CASE("the local scale is the square root of what a small square measures, through the lens too") {
  PlaneMap map;
  map.camera = bent();
  Eigen::Matrix3d h;
  h << 0.1, 0.01, 3, -0.008, 0.11, 5, 1e-5, -2e-5, 1;
  map.plane_from_ideal = Homography<ImagePoint, PlanePoint>(h);
  for (const ImagePoint p : {ImagePoint{100, 100}, ImagePoint{800, 600}, ImagePoint{1500, 1100}}) {
    ImageOutline square{{{{{p.x - 1, p.y - 1}, {p.x + 1, p.y - 1}, {p.x + 1, p.y + 1}, {p.x - 1, p.y + 1}}, {}}}};
    const auto mm = map.to_plane(square, 0.1).parts[0].outer;
    double twice = 0;
    for (std::size_t i = 0; i < mm.size(); ++i) {
      const auto &a = mm[i], &b = mm[(i + 1) % mm.size()];
      twice += a.x * b.y - a.y * b.x;
    }
    CHECK(map.mm_per_px(p) == Approx(std::sqrt(std::abs(twice) / 2 / 4)).epsilon(1e-5));
    CHECK(distance(map.to_image(map.to_plane(p)), p) < 1e-8);
  }
}
