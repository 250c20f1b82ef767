#include "uroko/scenes/scene.h"

#include <boost/math/special_functions/ellint_2.hpp>
#include <catch2/catch.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>

#include "uroko/scale/card.h"

using namespace uroko;
using namespace uroko::scenes;

namespace {

constexpr Noise kClean{0, 0, 0, 1};

/// Bed 0.15, skin 0.8 in linear light: the share of the pixel that is bed.
double coverage(uchar counts) {
  const double v = counts / 255.0, linear = v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4);
  return (0.8 - linear) / 0.65;
}

Scene bent_and_tilted() {
  Scene scene;
  scene.detail = Detail::plain;
  scene.light.uneven = 0;
  scene.light.glare = 0;
  scene.flank = Flank{};
  scene.card.reset();
  scene.ulcer = irregular_ulcer({12, 20}, 15, 0.12, 3);
  scene.view.camera = pinhole(900, 700, 1000, -0.08, 0.02, 0.001, -0.0007);
  scene.view.width_px = 900;
  scene.view.height_px = 700;
  scene.view.distance_mm = 260;
  scene.view.aim = {-5, 8};
  scene.view.tilt_deg = 25;
  scene.view.azimuth_deg = 130;
  scene.view.roll_deg = 20;
  return scene;
}

/// The area that the render shows as bed, in pixels, within the box around the outline.
double rendered_area_px(const Scene& scene) {
  const auto photo = render(scene, kClean);
  // The towel beside the fish is no bed.
  const auto around = buffered(truth_of(scene).outline, 4);
  const auto near = [&](int x, int y) { return contains(around, ImagePoint{static_cast<double>(x), static_cast<double>(y)}); };
  double sum = 0;
  for (int y = 0; y < photo.rows; ++y)
    for (int x = 0; x < photo.cols; ++x) {
      const double c = coverage(photo.at<cv::Vec3b>(y, x)[1]);
      // Skin rounded to a whole count is not quite 0.
      if (near(x, y) && c > 0.01) sum += c;
    }
  return sum;
}

}  // namespace

TEST_CASE("the true outline encloses the pixels that the render shows as bed") {
  auto scene = bent_and_tilted();
  const auto truth = truth_of(scene);
  const double bent = rendered_area_px(scene);
  CHECK(bent == Approx(area(truth.outline)).epsilon(0.002));
  scene.flank.reset();
  CHECK(rendered_area_px(scene) == Approx(area(truth_of(scene).outline)).epsilon(0.002));
  // And not only as much of it: wrong sides are rare.
  const auto photo = render(scene, kClean);
  const auto flat = truth_of(scene);
  int wrong = 0;
  for (int y = 0; y < photo.rows; y += 2)
    for (int x = 0; x < photo.cols; x += 2) {
      const double c = coverage(photo.at<cv::Vec3b>(y, x)[1]);
      if (c > 0.3 && c < 0.7) continue;
      wrong += (c >= 0.5) != contains(flat.outline, ImagePoint{static_cast<double>(x), static_cast<double>(y)});
    }
  CHECK(wrong == 0);
}

TEST_CASE("an ulcer's area is the same by its closed form, by shoelace, and by the skin under each pixel") {
  const auto scene = bent_and_tilted();
  const auto& ulcer = *scene.ulcer;
  const double exact = area_mm2(ulcer);
  PlaneOutline unrolled{{{{}, {}}}};
  for (const auto& p : margin(ulcer, 20000)) unrolled.parts[0].outer.push_back({p.x, p.s});
  CHECK(area(unrolled) == Approx(exact).epsilon(1e-6));
  CHECK(perimeter(unrolled) == Approx(perimeter_mm(ulcer)).epsilon(1e-6));

  const auto labels = render_tissue(scene), skin = skin_map(scene);
  double sum = 0;
  for (int y = 1; y + 1 < labels.rows; ++y)
    for (int x = 1; x + 1 < labels.cols; ++x)
      if (labels.at<uchar>(y, x) != 255) {
        const cv::Vec2d across = (skin.at<cv::Vec2d>(y, x + 1) - skin.at<cv::Vec2d>(y, x - 1)) / 2,
                        down = (skin.at<cv::Vec2d>(y + 1, x) - skin.at<cv::Vec2d>(y - 1, x)) / 2;
        sum += std::abs(across[0] * down[1] - across[1] * down[0]);
      }
  CHECK(sum == Approx(exact).epsilon(0.003));
}

TEST_CASE("a plain ellipse has the perimeter of the elliptic integral") {
  Ulcer ulcer;
  ulcer.radius_mm = 10;
  ulcer.elongation = 2;
  const double a = 10 * std::sqrt(2.0), b = 10 / std::sqrt(2.0);
  // Boost.Math ellint_2: perimeter 4 a E(e).
  CHECK(perimeter_mm(ulcer) == Approx(4 * a * boost::math::ellint_2(std::sqrt(1 - b * b / (a * a)))).epsilon(1e-10));
  CHECK(area_mm2(ulcer) == Approx(M_PI * a * b));
}

TEST_CASE("pixel centres lie at integers and the aim at the principal point") {
  Scene scene;
  scene.detail = Detail::plain;
  scene.light.uneven = 0;
  scene.ulcer.reset();
  scene.view.width_px = 1401;
  scene.view.height_px = 801;
  scene.view.camera = pinhole(1401, 801, 3000);
  scene.view.distance_mm = 300;  // 10 px a millimetre
  scene.card->centre = {0, 0};
  CHECK(pixel_of(scene, {0, 0})->x == Approx(700));
  CHECK(pixel_of(scene, {0, 0})->y == Approx(400));
  const auto corner = pixel_of_card(scene, {0, 0});
  CHECK(corner.x == Approx(100));
  CHECK(corner.y == Approx(100));
  // The card's edge runs through the middle of pixel 100: half of it is card (white), the row above the corner none.
  const auto photo = render(scene, kClean);
  const auto linear = [&](int y, int x) { return 0.8 - 0.65 * coverage(photo.at<cv::Vec3b>(y, x)[1]); };
  CHECK(linear(200, 99) == Approx(0.8).margin(0.004));
  CHECK(linear(200, 100) == Approx((0.8 + 0.9) / 2).margin(0.006));
  CHECK(linear(200, 101) == Approx(0.9).margin(0.006));
  CHECK(linear(99, 300) == Approx(0.8).margin(0.004));
}

TEST_CASE("the camera agrees with OpenCV's projection and the card's saddle points with a corner finder") {
  auto scene = bent_and_tilted();
  scene.ulcer.reset();
  scene.card = CardPlacement{};
  scene.card->centre = {-5, 5};
  scene.card->turn_deg = 12;
  scene.card->offset_mm = 3;
  const auto& c = scene.view.camera;
  const auto pose = truth_of(scene).card_pose;
  const auto& board = scale::card_layout().board;
  std::vector<cv::Point3d> object;
  for (int i = 0; i < board.saddle_count(); ++i) object.emplace_back(board.saddle(i).x, board.saddle(i).y, 0);
  cv::Matx33d r;
  for (int i = 0; i < 3; ++i)
    for (int j = 0; j < 3; ++j) r(i, j) = pose.rotation(i, j);
  cv::Vec3d turn, shift(pose.translation_mm.x(), pose.translation_mm.y(), pose.translation_mm.z());
  cv::Rodrigues(r, turn);
  std::vector<cv::Point2d> seen;
  cv::projectPoints(object, turn, shift, cv::Matx33d(c.fx, 0, c.cx, 0, c.fy, c.cy, 0, 0, 1), std::vector<double>{c.k1, c.k2, c.p1, c.p2, c.k3}, seen);
  cv::Mat grey;
  cv::cvtColor(render(scene, Noise{0.7, 0, 0, 1}), grey, cv::COLOR_BGR2GRAY);
  double worst_projection = 0, sum_x = 0, sum_y = 0, sum2 = 0;
  for (int i = 0; i < board.saddle_count(); ++i) {
    const auto mine = pixel_of_card(scene, board.saddle(i));
    worst_projection = std::max(worst_projection, std::hypot(mine.x - seen[i].x, mine.y - seen[i].y));
    std::vector<cv::Point2f> found{cv::Point2f(static_cast<float>(mine.x), static_cast<float>(mine.y))};
    cv::cornerSubPix(grey, found, {5, 5}, {-1, -1}, {cv::TermCriteria::EPS | cv::TermCriteria::COUNT, 100, 1e-4});
    sum_x += found[0].x - mine.x, sum_y += found[0].y - mine.y;
    sum2 += std::pow(found[0].x - mine.x, 2) + std::pow(found[0].y - mine.y, 2);
  }
  const double n = board.saddle_count();
  CHECK(worst_projection < 1e-9);
  CHECK(std::abs(sum_x / n) < 0.02);
  CHECK(std::abs(sum_y / n) < 0.02);
  CHECK(std::sqrt(sum2 / (2 * n)) < 0.05);
}

TEST_CASE("the pixel of a skin point and the skin under that pixel are inverse to each other") {
  const auto scene = bent_and_tilted();
  for (double x = -30; x <= 40; x += 14)
    for (double s = -30; s <= 45; s += 15) {
      const auto pixel = pixel_of(scene, {x, s});
      REQUIRE(pixel);
      const auto back = skin_at(scene, *pixel);
      REQUIRE(back);
      CHECK(back->x == Approx(x).margin(1e-6));
      CHECK(back->s == Approx(s).margin(2e-5));
    }
}

TEST_CASE("the bed shows its tissues in the shares asked for, and the label map has the truth's shares") {
  Scene scene;
  scene.card.reset();
  scene.view.aim = {0, 0};
  scene.ulcer = irregular_ulcer({0, 0}, 14, 0.1, 8);
  scene.ulcer->slough = 0.3;
  scene.ulcer->necrotic = 0.1;
  scene.ulcer->pale = 0.2;
  scene.view.camera = pinhole(700, 600, 1500);
  scene.view.width_px = 700;
  scene.view.height_px = 600;
  const auto truth = truth_of(scene);
  using bed::Tissue;
  const auto share = [&](Tissue t) { return truth.shares[static_cast<std::size_t>(t)]; };
  CHECK(share(Tissue::granulation) == Approx(0.4).margin(0.01));
  CHECK(share(Tissue::slough) == Approx(0.3).margin(0.01));
  CHECK(share(Tissue::necrotic) == Approx(0.1).margin(0.01));
  CHECK(share(Tissue::pale) == Approx(0.2).margin(0.01));
  const auto labels = render_tissue(scene);
  std::array<double, bed::kTissues> count{};
  double all = 0;
  for (int y = 0; y < labels.rows; ++y)
    for (int x = 0; x < labels.cols; ++x)
      if (const auto l = labels.at<uchar>(y, x); l != 255) count[l] += 1, all += 1;
  for (int k = 0; k < bed::kTissues; ++k)
    CHECK(count[static_cast<std::size_t>(k)] / all == Approx(truth.shares[static_cast<std::size_t>(k)]).margin(0.01));
}

TEST_CASE("the sensor's noise is as strong as asked, repeatable, and apart from the scene") {
  Scene scene;
  scene.detail = Detail::plain;
  scene.light.uneven = 0;
  scene.light.exposure = 0.4;
  scene.view.camera = pinhole(1600, 1200, 1700);
  scene.card.reset();
  scene.ulcer.reset();
  const cv::Rect box(100, 100, 200, 200);
  const auto a = render(scene, Noise{0.8, 4, 0, 5}, box), b = render(scene, Noise{0.8, 4, 0, 5}, box), c = render(scene, Noise{0.8, 4, 0, 6}, box);
  CHECK(cv::norm(a, b, cv::NORM_INF) == 0);
  CHECK(cv::norm(a, c, cv::NORM_INF) > 0);
  cv::Scalar mean, sd;
  cv::meanStdDev(a, mean, sd);
  // Rounding to whole counts adds 1/12 to the variance.
  CHECK(sd[0] == Approx(std::sqrt(16 + 1 / 12.0)).epsilon(0.02));
}

TEST_CASE("a part of a photo shows what the whole photo shows there") {
  const auto scene = bent_and_tilted();
  const Noise blurred{1.1, 0, 0, 1};
  const cv::Rect box(300, 250, 160, 120);
  CHECK(cv::norm(render(scene, blurred)(box), render(scene, blurred, box), cv::NORM_INF) <= 1);
}

TEST_CASE("what the camera cannot see is refused") {
  auto scene = bent_and_tilted();
  scene.ulcer->centre.s = 90;
  CHECK_THROWS_AS(truth_of(scene), std::invalid_argument);
  scene.ulcer->centre.s = 500;
  CHECK_THROWS_AS(truth_of(scene), std::invalid_argument);
}
