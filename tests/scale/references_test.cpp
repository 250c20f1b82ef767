#include "uroko/scale/references.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <limits>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "support/chart_photos.h"
#include "support/flat_photo.h"
#include "uroko/geometry/polygon.h"
#include "uroko/photo/photo.h"
#include "uroko/report/card_print.h"
#include "uroko/scale/lens.h"

using namespace uroko;
using namespace uroko::scale;
using uroko::testing::area_ratio;
using uroko::testing::FlatView;
using uroko::testing::photograph;

namespace {

bool warned(const PlaneMap& map, const std::string& code) {
  for (const auto& w : map.warnings)
    if (w.code == code) return true;
  return false;
}

/// 120 x 80 mm of mottled ground at 16 px/mm with a coin of 25 mm at (60, 40): rim, inner ring, relief.
cv::Mat coin_print(double coin, double ground) {
  constexpr int s = 16;
  cv::Mat print(80 * s, 120 * s, CV_8UC3);
  cv::RNG rng(5);
  cv::Mat mottle(40, 60, CV_8UC3);
  rng.fill(mottle, cv::RNG::NORMAL, ground, 6);
  cv::resize(mottle, print, print.size(), 0, 0, cv::INTER_CUBIC);
  const auto disc = [&](double x, double y, double d, double grey) {
    // Centre and radius in 1/16 px; a point at mm lies at pixel mm * s - 0.5.
    cv::circle(print, {static_cast<int>(std::lround((x * s - 0.5) * 16)), static_cast<int>(std::lround((y * s - 0.5) * 16))},
               static_cast<int>(std::lround(d / 2 * s * 16)), cv::Scalar::all(grey), cv::FILLED, cv::LINE_AA, 4);
  };
  disc(60, 40, 25, coin);
  disc(60, 40, 17, coin * 0.8);
  disc(60, 40, 16.4, coin * 0.95);
  cv::putText(print, "25", {56 * s, 43 * s}, cv::FONT_HERSHEY_DUPLEX, 4, cv::Scalar::all(coin * 0.7), 8);
  return print;
}

}  // namespace

TEST_CASE("a ruler's graduations give the scale along it to a few hundredths of a percent, at any tilt up to 45 degrees") {
  const cv::Mat print = report::card_picture(12);
  int i = 0;
  for (const double tilt : {0.0, 20.0, 45.0}) {
    for (const double towards : {0.0, 90.0, 200.0}) {
      FlatView view;
      view.tilt_deg = tilt, view.tilt_towards_deg = towards, view.turn_deg = 13 + 90 * i, view.distance_mm = 300 + 20 * i;
      view.seed = static_cast<unsigned>(++i);
      const auto photo = photograph(print, 12, view);
      auto a = photo.image_from_print({10, 59.3}), b = photo.image_from_print({110, 59.3});
      a.x += 1.2, b.y -= 1.5, b.x += 1.5;  // picks miss by a pixel or two
      const auto map = from_ruler(photo.bgr, assumed_camera(view.width, view.height), a, b, 100);
      REQUIRE(map.ok());
      INFO("tilt " << tilt << " towards " << towards);
      CHECK_FALSE(warned(*map, "no-graduations"));
      CHECK(warned(*map, "tilt-unknown"));
      const double got = distance(map->to_plane(photo.image_from_print({20, 59.3})), map->to_plane(photo.image_from_print({100, 59.3})));
      CHECK(got == Approx(80).epsilon(0.001));
      // What the turn about the ruler hides is inside the stated uncertainty (area share 2 u) times two.
      if (tilt <= 20) CHECK(std::abs(area_ratio(*map, photo, 60, 48, 8) - 1) < 4 * map->scale_relative_u);
    }
  }
}

TEST_CASE("graduations every half or two millimetres are named, a wrong length is told, never a silent half or double") {
  const cv::Mat print = report::card_picture(12);
  FlatView view;
  const auto photo = photograph(print, 12, view);
  const auto camera = assumed_camera(view.width, view.height);
  const auto a = photo.image_from_print({10, 59.3}), b = photo.image_from_print({110, 59.3});
  for (const double wrong : {50.0, 200.0}) {
    const auto map = from_ruler(photo.bgr, camera, a, b, wrong);
    REQUIRE(map.ok());
    CHECK((warned(*map, "graduations") || warned(*map, "no-graduations")));
  }
  const auto near = from_ruler(photo.bgr, camera, a, b, 97);
  REQUIRE(near.ok());
  CHECK(warned(*near, "picks-disagree"));
  CHECK(distance(near->to_plane(a), near->to_plane(b)) == Approx(100).epsilon(0.001));
}

TEST_CASE("where no graduations are found the two picks are the scale, with a warning and a wide uncertainty") {
  cv::Mat plain(600, 800, CV_8UC3, cv::Scalar::all(120));
  cv::RNG rng(2);
  cv::Mat noise(plain.size(), CV_8UC3);
  rng.fill(noise, cv::RNG::NORMAL, 10, 4);
  plain += noise;
  const auto map = from_ruler(plain, assumed_camera(800, 600), {100, 300}, {700, 300}, 100);
  REQUIRE(map.ok());
  CHECK(warned(*map, "no-graduations"));
  CHECK(map->points == 2);
  CHECK(map->mm_per_px({400, 300}) == Approx(100.0 / 600).epsilon(1e-6));
  CHECK(map->scale_relative_u > 0.02);
  CHECK_FALSE(map->tilt_known);
}

TEST_CASE("ruler points that are equal, outside or of no length are refused in words") {
  const cv::Mat plain(600, 800, CV_8UC3, cv::Scalar::all(120));
  const auto camera = assumed_camera(800, 600);
  CHECK(from_ruler(plain, camera, {100, 100}, {100, 100}, 50).refusal().code == "equal-points");
  CHECK(from_ruler(plain, camera, {100, 100}, {900, 100}, 50).refusal().code == "outside");
  CHECK(from_ruler(plain, camera, {100, 100}, {300, 100}, 0).refusal().code == "zero-length");
  CHECK(from_ruler(plain, camera, {100, 100}, {300, 100}, std::nan("")).refusal().code == "zero-length");
}

TEST_CASE("the rulers of real sheets have 4.54 px/mm") {
  // shared/data/herbarium_ruler/SOURCE.md: a Bausch & Lomb ruler, one camera height; 4.538 px/mm, sd .003, from the tick period by another method.
  const std::filesystem::path folder = std::filesystem::path(UROKO_SHARED_DATA) / "herbarium_ruler" / "images";
  if (!std::filesystem::exists(folder)) {
    WARN("skipped: " << folder << " is not there");
    return;
  }
  double sum = 0, sum2 = 0;
  int count = 0;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) {
    if (entry.path().filename().string().rfind("LM_", 0) != 0) continue;
    const auto photo = photo::load(entry.path());
    // The 2 cm and 14 cm graduations, as the eye picks them.
    const auto map = from_ruler(photo.bgr, camera_for(photo.info, "/nowhere"), {450, 23}, {998, 32}, 120);
    REQUIRE(map.ok());
    CHECK_FALSE(warned(*map, "no-graduations"));
    const double px_per_mm = 1 / map->mm_per_px({724, 28});
    sum += px_per_mm, sum2 += px_per_mm * px_per_mm, ++count;
  }
  REQUIRE(count >= 3);
  const double mean = sum / count;
  CHECK(mean == Approx(4.538).margin(0.006));
  CHECK(std::sqrt(std::max(0.0, sum2 / count - mean * mean)) < 0.004);
}

TEST_CASE("a coin gives the area at its own place, dark or bright on its ground, tilted too, and says that its tilt has two answers") {
  int i = 0;
  for (const double coin : {200.0, 60.0}) {
    const cv::Mat print = coin_print(coin, 130);
    for (const double tilt : {0.0, 20.0, 35.0}) {
      FlatView view;
      view.tilt_deg = tilt, view.tilt_towards_deg = 30 + 77 * i, view.contrast = 1, view.dark = 0, view.ground = 120;
      view.seed = static_cast<unsigned>(++i);
      const auto photo = photograph(print, 16, view);
      auto click = photo.image_from_print({60, 40});
      click.x += 15, click.y -= 12;
      const auto map = from_disc(photo.bgr, assumed_camera(view.width, view.height), click, 25);
      INFO("coin " << coin << " tilt " << tilt << (map.ok() ? "" : map.refusal().text));
      REQUIRE(map.ok());
      CHECK(area_ratio(*map, photo, 60, 40, 6) == Approx(1).margin(0.006));
      CHECK(warned(*map, "tilt-ambiguous"));
      CHECK_FALSE(map->tilt_known);
      // Close to the optical axis the ellipse's ratio is the cosine of the tilt.
      if (tilt > 0) CHECK(map->tilt_deg == Approx(tilt).margin(3));
      // Off the coin the two tilts differ: the stated perspective uncertainty covers what is missed.
      const double miss = std::abs(area_ratio(*map, photo, 85, 40, 6) - 1);
      const auto p = photo.image_from_print({85, 40}), c = photo.image_from_print({60, 40});
      const double g = std::tan((map->tilt_deg + map->tilt_u_deg) * std::numbers::pi / 180) / 1760;
      CHECK(miss < 3 * g * distance(p, c) + 0.012);
    }
  }
}

TEST_CASE("no coin, a click outside and a diameter of nothing are refused") {
  cv::Mat plain(600, 800, CV_8UC3);
  cv::RNG rng(2);
  rng.fill(plain, cv::RNG::NORMAL, 128, 12);
  const auto camera = assumed_camera(800, 600);
  CHECK(from_disc(plain, camera, {400, 300}, 25).refusal().code == "no-disc");
  CHECK(from_disc(plain, camera, {400, 900}, 25).refusal().code == "outside");
  CHECK(from_disc(plain, camera, {400, 300}, 0).refusal().code == "zero-length");
}

TEST_CASE("a rectangle of ISO/IEC 7810 ID-1 size gives areas from rough picks on its corners, and the same ones given backwards") {
  // 85.60 x 53.98 mm, on a ground that is darker.
  cv::Mat print(100 * 16, 140 * 16, CV_8UC3, cv::Scalar::all(90));
  const double x0 = 20, y0 = 20, w = 85.6, h = 53.98;
  const cv::Rect inside(cv::Point(320, 320), cv::Point(static_cast<int>(std::lround((x0 + w) * 16)), static_cast<int>(std::lround((y0 + h) * 16))));
  print(inside).setTo(cv::Scalar::all(210));
  FlatView view;
  view.tilt_deg = 25, view.tilt_towards_deg = 50, view.turn_deg = 8, view.contrast = 1, view.dark = 0;
  const auto photo = photograph(print, 16, view);
  const double W = inside.width / 16.0, H = inside.height / 16.0;
  std::array<ImagePoint, 4> exact, rough;
  const PlanePoint corners[] = {{x0, y0}, {x0 + W, y0}, {x0 + W, y0 + H}, {x0, y0 + H}};
  const double miss[] = {2, -1.5, -2, 1};
  for (int i = 0; i < 4; ++i) {
    exact[i] = photo.image_from_print(corners[i]);
    rough[i] = {exact[i].x + miss[i], exact[i].y - miss[(i + 1) % 4]};
  }
  const auto camera = assumed_camera(view.width, view.height);
  const auto given = from_rectangle({}, camera, exact, W, H);
  REQUIRE(given.ok());
  CHECK(area_ratio(*given, photo, 60, 85, 8) == Approx(1).margin(1e-6));
  CHECK(given->tilt_deg == Approx(photo.tilt_deg).margin(0.5));
  const auto refined = from_rectangle(photo.bgr, camera, rough, W, H);
  REQUIRE(refined.ok());
  CHECK(area_ratio(*refined, photo, 60, 85, 8) == Approx(1).margin(0.003));
  const auto backwards = from_rectangle(photo.bgr, camera, {rough[1], rough[0], rough[3], rough[2]}, W, H);
  REQUIRE(backwards.ok());
  CHECK(area_ratio(*backwards, photo, 60, 85, 8) == Approx(1).margin(0.003));
  REQUIRE(backwards->pose);
  CHECK(backwards->pose->translation_mm.z() > 0);
  CHECK_FALSE(warned(*refined, "shape"));
}

TEST_CASE("rectangle corners that cross, repeat, lie on a line or outside are refused in words") {
  const auto camera = assumed_camera(800, 600);
  const auto code = [&](std::array<ImagePoint, 4> c, double w = 80, double h = 50) {
    const auto map = from_rectangle({}, camera, c, w, h);
    return map.ok() ? std::string("ok") : map.refusal().code;
  };
  CHECK(code({{{100, 100}, {500, 100}, {500, 400}, {100, 400}}}) == "ok");
  CHECK(code({{{100, 100}, {500, 100}, {100, 400}, {500, 400}}}) == "crossing");
  CHECK(code({{{100, 100}, {100, 100}, {500, 400}, {100, 400}}}) == "equal-points");
  CHECK(code({{{100, 100}, {300, 100}, {500, 100}, {100, 400}}}) == "corners");
  CHECK(code({{{100, 100}, {500, 100}, {200, 180}, {100, 400}}}) == "corners");
  CHECK(code({{{100, 100}, {500, 100}, {500, 400}, {100, 400}}}, 0) == "zero-length");
  CHECK(code({{{100, 100}, {500, 100}, {500, 400}, {100, std::numeric_limits<double>::infinity()}}}) == "corners");
  CHECK(from_rectangle(cv::Mat(300, 300, CV_8U, cv::Scalar(9)), camera, {{{10, 10}, {500, 10}, {500, 200}, {10, 200}}}, 80, 50).refusal().code == "outside");
}

TEST_CASE("colour charts between printed markers measure as their maker says") {
  const auto charts = uroko::testing::chart_photos();
  if (charts.empty()) {
    WARN("skipped: shared/data/aruco_colorchecker is not there");
    return;
  }
  int small = 0, large = 0;
  double small_sum = 0, large_sum = 0;
  for (const auto& chart : charts) {
    for (int i = 0; i < 4; ++i) CHECK(distance(chart.map.reference[static_cast<std::size_t>(i)], chart.frame[static_cast<std::size_t>(i)]) < 0.5);
    const double ratio = area(chart.map.to_plane(chart.outline)) / chart.area_mm2;
    INFO(chart.file.filename().string());
    CHECK(ratio == Approx(1).margin(chart.mini ? 0.03 : 0.06));
    (chart.mini ? small_sum : large_sum) += ratio;
    ++(chart.mini ? small : large);
  }
  INFO("A4 set: " << small << " charts, mean " << small_sum / small << "; A3 set: " << large << " charts, mean " << large_sum / large);
  REQUIRE(small >= 2);
  REQUIRE(large >= 2);
  // SOURCE.md, by the markers' 16 corners: 108.1-108.8 x 63.0-63.5 mm, that is 0.984 to 0.998 of the maker's area.
  CHECK(small_sum / small > 0.984);
  CHECK(small_sum / small < 0.998);
  CHECK(large_sum / large == Approx(1).margin(0.04));
}

TEST_CASE("two references in one photo that agree pass, and one of a wrong size is told") {
  const cv::Mat print = report::card_picture(12);
  FlatView view;
  view.tilt_deg = 12;
  const auto photo = photograph(print, 12, view);
  const auto camera = assumed_camera(view.width, view.height);
  const auto card = find_card(photo.bgr, camera);
  REQUIRE(card.ok());
  const ImagePoint at = photo.image_from_print({60, -5});
  // The board's outline is a rectangle of 90 x 40 mm.
  const std::array<ImagePoint, 4> board{photo.image_from_print({4, 4}), photo.image_from_print({94, 4}), photo.image_from_print({94, 44}), photo.image_from_print({4, 44})};
  CHECK_FALSE(disagreement(*card, *from_rectangle({}, camera, board, 90, 40), at));
  const auto told = disagreement(*card, *from_rectangle({}, camera, board, 92, 41), at);
  REQUIRE(told);
  CHECK(told->code == "references-disagree");
  // The closed form against differences of the map itself.
  double variance = 0;
  Eigen::Matrix<double, 8, 1> gradient;
  for (int k = 0; k < 8; ++k) {
    const double e = 1e-7 * std::max(1e-6, std::abs(card->plane_from_ideal.matrix()(k / 3, k % 3)));
    PlaneMap up = *card, down = *card;
    Eigen::Matrix3d h = card->plane_from_ideal.matrix();
    h(k / 3, k % 3) += e;
    up.plane_from_ideal = Homography<ImagePoint, PlanePoint>(h);
    h(k / 3, k % 3) -= 2 * e;
    down.plane_from_ideal = Homography<ImagePoint, PlanePoint>(h);
    gradient(k) = 2 * std::log(up.mm_per_px(at) / down.mm_per_px(at)) / (2 * e);
  }
  variance = gradient.dot(card->covariance * gradient) + 4 * card->scale_relative_u * card->scale_relative_u;
  CHECK(area_scale_u(*card, at) == Approx(std::sqrt(variance)).epsilon(0.001));
}
