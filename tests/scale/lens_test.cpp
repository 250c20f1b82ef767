#include "uroko/scale/lens.h"

#include <catch2/catch.hpp>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "support/flat_photo.h"
#include "uroko/base/error.h"
#include "uroko/geometry/polygon.h"
#include "uroko/report/card_print.h"
#include "uroko/scale/references.h"

using namespace uroko;
using namespace uroko::scale;

namespace {

// Debian package opencv-doc: 13 photos of a 9x6 board, 640 x 480, with the calibration that OpenCV's authors stored beside them.
const std::filesystem::path boards = "/usr/share/doc/opencv-doc/examples/data";

std::vector<CalibrationPhoto> board_photos(const std::string& side) {
  std::vector<CalibrationPhoto> out;
  for (int i = 1; i <= 14; ++i) {
    const auto file = boards / (side + (i < 10 ? "0" : "") + std::to_string(i) + ".jpg");
    if (!std::filesystem::exists(file)) continue;
    auto photo = photo::load(file);
    out.push_back({photo.info, find_calibration_board(photo.bgr, {})});
  }
  return out;
}

photo::PhotoInfo info_of(int w, int h, int orientation = 1) {
  photo::PhotoInfo info;
  info.width_px = w, info.height_px = h, info.orientation = orientation;
  return info;
}

/// Share by which blocks of board squares measured through a rectangle reference on other squares of the same photo miss the truth.
struct Misses {
  double mean = 0, worst = 0;
  int count = 0;
};
Misses block_misses(const std::vector<CalibrationPhoto>& photos, const Camera& camera) {
  Misses m;
  double sum = 0;
  for (const auto& p : photos) {
    if (!p.view) continue;
    const auto corner = [&](int c, int r) { return p.view->seen[static_cast<std::size_t>(r * 9 + c)]; };
    const auto map = from_rectangle({}, camera, {corner(0, 0), corner(4, 0), corner(4, 5), corner(0, 5)}, 100, 125);
    REQUIRE(map.ok());
    // Another block, most of which lies beyond the reference.
    ImageOutline block{{{{corner(3, 1), corner(7, 1), corner(7, 4), corner(3, 4)}, {}}}};
    const double miss = area(map->to_plane(block)) / (100 * 75) - 1;
    sum += miss;
    m.worst = std::max(m.worst, std::abs(miss));
    ++m.count;
  }
  m.mean = sum / m.count;
  return m;
}

}  // namespace

TEST_CASE("a lens calibrated from opencv-doc's left photos agrees with the stored calibration and leaves a smaller residual") {
  if (!std::filesystem::exists(boards / "left01.jpg")) {
    WARN("skipped: Debian's opencv-doc is not installed");
    return;
  }
  const auto photos = board_photos("left");
  REQUIRE(photos.size() == 13);
  const auto profile = calibrate(photos, {});
  REQUIRE(profile.ok());
  CHECK(profile->views == 13);
  // left_intrinsics.yml of the same package: fx 535.92, cx 342.28, cy 235.57, k1 -0.266, RMS 0.3926 px.
  CHECK(profile->camera.fx == Approx(535.92).epsilon(0.01));
  CHECK(profile->camera.cx == Approx(342.28).margin(3));
  CHECK(profile->camera.cy == Approx(235.57).margin(3));
  CHECK(profile->camera.k1 == Approx(-0.266).margin(0.04));
  CHECK(profile->rms_px < 0.3926);
  CHECK(profile->coverage > 0.4);

  SECTION("squares of the boards measured from other squares come out equal, as far as the printed board's own squares are") {
    std::vector<Warning> warnings;
    const auto camera = camera_from_profile(*profile, info_of(640, 480), warnings);
    REQUIRE(camera.ok());
    const Misses with = block_misses(photos, *camera), without = block_misses(photos, assumed_camera(640, 480));
    INFO("with the profile: mean " << 100 * with.mean << " % worst " << 100 * with.worst << " %; without: mean " << 100 * without.mean << " % worst "
                                   << 100 * without.worst << " %");
    CHECK(with.count == 13);
    // The board itself is uneven: over all 13 photos its corners lie up to 0.2 mm off the grid, the same ones in every photo. That alone
    // makes -1.1 % of this pair of blocks; what differs from photo to photo stays under 0.5 %.
    CHECK(std::abs(with.mean) < 0.015);
    CHECK(with.worst - std::abs(with.mean) < 0.005);
    CHECK(without.worst > 2 * with.worst);
  }
  SECTION("the profile reads back from its JSON as it was") {
    const LensProfile back = lens_profile_from_json(to_json(*profile), "p.json");
    CHECK(back.camera.fx == profile->camera.fx);
    CHECK(back.camera.k3 == profile->camera.k3);
    CHECK(back.width_px == 640);
    CHECK(back.views == 13);
  }
}

TEST_CASE("too few photos of the board, photos of different sizes and photos without a board are refused in words") {
  if (!std::filesystem::exists(boards / "left01.jpg")) {
    WARN("skipped: Debian's opencv-doc is not installed");
    return;
  }
  auto photos = board_photos("left");
  auto few = photos;
  few.erase(few.begin() + 3, few.end());
  REQUIRE_FALSE(calibrate(few, {}).ok());
  CHECK(calibrate(few, {}).refusal().code == "lens-views");
  auto mixed = photos;
  mixed[2].info.width_px = 641;
  REQUIRE_FALSE(calibrate(mixed, {}).ok());
  CHECK(calibrate(mixed, {}).refusal().code == "lens-mixed");
  std::vector<CalibrationPhoto> alike(7, photos[0]);
  REQUIRE_FALSE(calibrate(alike, {}).ok());
  CHECK_FALSE(find_calibration_board(cv::Mat(400, 400, CV_8UC3, cv::Scalar::all(90)), {}).ok());
}

TEST_CASE("the printed lens sheet calibrates a camera whose truth is known") {
  const cv::Mat sheet = report::card_picture(lens_sheet_layout(), 8);
  std::vector<CalibrationPhoto> photos;
  for (int i = 0; i < 7; ++i) {
    uroko::testing::FlatView v;
    v.width = 1200, v.height = 900, v.focal_px = 1100;
    v.distance_mm = 330 + 15 * i;
    v.tilt_deg = 8 + 5 * i;
    v.tilt_towards_deg = 100 * i;
    v.turn_deg = 20 * i;
    v.seed = static_cast<unsigned>(i) + 1;
    const auto photo = uroko::testing::photograph(sheet, 8, v);
    CalibrationBoard board;
    board.lens_sheet = true;
    board.square_mm = 20;
    photos.push_back({info_of(1200, 900), find_calibration_board(photo.bgr, board)});
    CHECK(photos.back().view.ok());
  }
  CalibrationBoard board;
  board.lens_sheet = true;
  board.square_mm = 20;
  const auto profile = calibrate(photos, board);
  REQUIRE(profile.ok());
  CHECK(profile->camera.fx == Approx(1100).epsilon(0.002));
  CHECK(profile->camera.cx == Approx(599.5).margin(2));
  CHECK(std::abs(profile->camera.k1) < 0.01);
  CHECK(profile->rms_px < 0.06);
}

TEST_CASE("a profile fits its camera's photos at other sizes and turned by a quarter or a half") {
  LensProfile p;
  p.width_px = 4000, p.height_px = 3000;
  p.camera.from = Camera::From::profile;
  p.camera.fx = 3200, p.camera.fy = 3210, p.camera.cx = 2040, p.camera.cy = 1480;
  p.camera.k1 = -0.1, p.camera.k2 = 0.02, p.camera.p1 = 0.002, p.camera.p2 = -0.001;
  std::vector<Warning> warnings;
  const auto full = camera_from_profile(p, info_of(4000, 3000), warnings);
  REQUIRE(full.ok());
  const auto half = camera_from_profile(p, info_of(2000, 1500), warnings);
  REQUIRE(half.ok());
  // The same ray: pixel edges scale, so centres go by (x + 0.5) s - 0.5.
  const ImagePoint at{3100, 700}, lens = full->distorted(at), small = half->distorted({(at.x + 0.5) / 2 - 0.5, (at.y + 0.5) / 2 - 0.5});
  CHECK((small.x + 0.5) * 2 - 0.5 == Approx(lens.x).margin(1e-9));
  CHECK((small.y + 0.5) * 2 - 0.5 == Approx(lens.y).margin(1e-9));
  // EXIF 6: the sensor's top is the photo's right side; 8: its left; 3: upside down.
  const auto six = camera_from_profile(p, info_of(3000, 4000, 6), warnings);
  REQUIRE(six.ok());
  const auto by_six = six->distorted({2999 - at.y, at.x});
  CHECK(by_six.x == Approx(2999 - lens.y).margin(1e-9));
  CHECK(by_six.y == Approx(lens.x).margin(1e-9));
  const auto eight = camera_from_profile(p, info_of(3000, 4000, 8), warnings);
  const auto by_eight = eight->distorted({at.y, 3999 - at.x});
  CHECK(by_eight.x == Approx(lens.y).margin(1e-9));
  CHECK(by_eight.y == Approx(3999 - lens.x).margin(1e-9));
  const auto three = camera_from_profile(p, info_of(4000, 3000, 3), warnings);
  const auto by_three = three->distorted({3999 - at.x, 2999 - at.y});
  CHECK(by_three.x == Approx(3999 - lens.x).margin(1e-9));
  CHECK(by_three.y == Approx(2999 - lens.y).margin(1e-9));
  CHECK(warnings.empty());
  CHECK_FALSE(camera_from_profile(p, info_of(4000, 2250), warnings).ok());
  auto other = info_of(4000, 3000);
  p.make = "Maker", p.model = "One", p.focal_mm = 5;
  other.camera_make = "Maker", other.camera_model = "Two", other.focal_mm = 7;
  CHECK(camera_from_profile(p, other, warnings).ok());
  CHECK(warnings.size() == 2);
}

TEST_CASE("a damaged lens profile is refused with the field's name") {
  LensProfile p;
  p.width_px = 4000, p.height_px = 3000;
  p.camera.fx = 3200, p.camera.fy = 3210, p.camera.cx = 2040, p.camera.cy = 1480;
  const auto refused_for = [](const std::string& text) {
    try {
      lens_profile_from_json(text, "p.json");
    } catch (const Error& e) {
      CHECK(e.fault() == Fault::input);
      return std::string(e.what());
    }
    return std::string("accepted");
  };
  CHECK(refused_for(to_json(p)) == "accepted");
  CHECK(refused_for("{").find("not a lens profile") != std::string::npos);
  CHECK(refused_for("[1]").find("not a lens profile") != std::string::npos);
  CHECK(refused_for("{\"uroko_lens\":2}").find("not a lens profile") != std::string::npos);
  auto json = nlohmann::json::parse(to_json(p));
  json["fx"] = "wide";
  CHECK(refused_for(json.dump()).find("\"fx\"") != std::string::npos);
  json["fx"] = 3;
  CHECK(refused_for(json.dump()).find("focal length") != std::string::npos);
  json["fx"] = 3200, json["k1"] = -40;
  CHECK(refused_for(json.dump()).find("distortion") != std::string::npos);
  json["k1"] = 0, json["width_px"] = -1;
  CHECK(refused_for(json.dump()).find("picture size") != std::string::npos);
  CHECK_THROWS_AS(read_lens_profile("/nowhere/p.json"), Error);
}

TEST_CASE("the focal length comes from EXIF's 35 mm equivalent where it is there") {
  auto info = info_of(4000, 3000);
  CHECK(camera_for(info, "/nowhere").from == Camera::From::assumed);
  CHECK(camera_for(info, "/nowhere").fx == Approx(4400));
  info.focal35_mm = 26;
  const Camera c = camera_for(info, "/nowhere");
  CHECK(c.from == Camera::From::exif);
  // 26 mm on film's 43.267 mm diagonal; the photo's diagonal is 5000 px.
  CHECK(c.fx == Approx(26 / 43.26662 * 5000).epsilon(1e-5));
}
