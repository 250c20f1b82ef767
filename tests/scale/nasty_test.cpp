// Photos as they are taken: each reference covered, shining, mirrored, twice in the picture, rounded or printed too small. Each gives the right
// scale with a doubt that holds it, a warning, or one refusal; never a silent wrong scale.
#include <catch2/catch.hpp>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "support/flat_photo.h"
#include "uroko/measure/measure.h"
#include "uroko/report/card_print.h"
#include "uroko/scale/references.h"

using namespace uroko;
using namespace uroko::scale;
using namespace uroko::testing;

namespace {

constexpr int kFine = 12;  // px/mm of the drawn prints

bool warned(const PlaneMap& map, const std::string& code) {
  for (const auto& w : map.warnings)
    if (w.code == code) return true;
  return false;
}

/// Small, quick views: the references are large in them.
FlatView near_view() {
  FlatView view;
  view.width = 1000, view.height = 750, view.focal_px = 1100, view.distance_mm = 230;
  view.contrast = 1, view.dark = 0;
  return view;
}

void fill(cv::Mat& print, double x, double y, double w, double h, double grey) {
  print(cv::Rect(static_cast<int>(std::lround(x * kFine)), static_cast<int>(std::lround(y * kFine)), static_cast<int>(std::lround(w * kFine)),
                 static_cast<int>(std::lround(h * kFine))))
      .setTo(cv::Scalar::all(grey));
}

/// 140 x 40 mm: a ruler with millimetres along its upper edge and sixteenths of an inch along its lower one, as many are sold.
cv::Mat ruler_print() {
  cv::Mat print(40 * kFine, 140 * kFine, CV_8UC3, cv::Scalar::all(70));
  fill(print, 5, 8, 130, 24, 225);
  for (int mm = 0; mm <= 120; ++mm) fill(print, 10 + mm - 0.08, 8, 0.16, mm % 10 == 0 ? 7 : mm % 5 == 0 ? 5.5 : 4, 30);
  for (int k = 0; k * 25.4 / 16 <= 120; ++k) fill(print, 10 + k * 25.4 / 16 - 0.08, 32 - (k % 16 == 0 ? 7 : k % 4 == 0 ? 5.5 : 4), 0.16, k % 16 == 0 ? 7 : k % 4 == 0 ? 5.5 : 4, 30);
  return print;
}

/// The relative error of a length along the ruler, 20 to 100 mm, against the truth.
double ruler_error(const PlaneMap& map, const FlatPhoto& photo, double y) {
  return distance(map.to_plane(photo.image_from_print({30, y})), map.to_plane(photo.image_from_print({110, y}))) / 80 - 1;
}

/// 120 x 80 mm of ground with a coin of 25 mm at (60, 40).
cv::Mat coin_print(double coin, double ground) {
  cv::Mat print(80 * kFine, 120 * kFine, CV_8UC3, cv::Scalar::all(ground));
  cv::Mat mottle(40, 60, CV_8UC3);
  cv::RNG rng(5);
  rng.fill(mottle, cv::RNG::NORMAL, ground, 4);
  cv::resize(mottle, print, print.size(), 0, 0, cv::INTER_CUBIC);
  const cv::Point middle(static_cast<int>(std::lround((60 * kFine - 0.5) * 16)), static_cast<int>(std::lround((40 * kFine - 0.5) * 16)));
  for (const auto& [d, share] : {std::pair{25.0, 1.0}, {21.0, 0.85}, {20.4, 0.97}})
    cv::circle(print, middle, static_cast<int>(std::lround(d / 2 * kFine * 16)), cv::Scalar::all(coin * share), cv::FILLED, cv::LINE_AA, 4);
  return print;
}

const cv::Mat& card() {
  static const cv::Mat picture = report::card_picture(kFine);
  return picture;
}

FlatView card_view() {
  auto view = near_view();
  view.contrast = 0.8, view.dark = 20;
  return view;
}

}  // namespace

TEST_CASE("a ruler with millimetres on one edge and inches on the other gives the same scale from picks on either") {
  const auto photo = photograph(ruler_print(), kFine, near_view());
  const auto camera = assumed_camera(1000, 750);
  const auto upper = from_ruler(photo.bgr, camera, photo.image_from_print({20, 10}), photo.image_from_print({120, 10}), 100);
  REQUIRE(upper.ok());
  CHECK_FALSE(warned(*upper, "no-graduations"));
  CHECK_FALSE(warned(*upper, "graduations"));
  CHECK(std::abs(ruler_error(*upper, photo, 10)) < 0.001);
  // Four inches on the other edge.
  const auto lower = from_ruler(photo.bgr, camera, photo.image_from_print({10, 30}), photo.image_from_print({10 + 101.6, 30}), 101.6);
  REQUIRE(lower.ok());
  CHECK(std::abs(ruler_error(*lower, photo, 30)) < 0.002);
  // Inches typed as millimetres, or centimetres: no such graduations, and said; never a quiet scale.
  for (const double wrong : {4.0, 10.0, 50.0, 200.0}) {
    const auto map = from_ruler(photo.bgr, camera, photo.image_from_print({20, 10}), photo.image_from_print({120, 10}), wrong);
    INFO(wrong);
    if (map) CHECK((warned(*map, "graduations") || warned(*map, "no-graduations") || warned(*map, "picks-disagree")));
  }
}

TEST_CASE("a glare across a third of the ruler and a thumb over its end leave its scale as it is") {
  auto photo = photograph(ruler_print(), kFine, near_view());
  const auto at = [&](double x, double y) {
    const auto p = photo.image_from_print({x, y});
    return cv::Point(static_cast<int>(p.x), static_cast<int>(p.y));
  };
  cv::Mat light(photo.bgr.size(), CV_8UC3, cv::Scalar::all(0));
  cv::ellipse(light, at(60, 10), {80, 60}, 0, 0, 360, cv::Scalar::all(255), cv::FILLED);
  cv::GaussianBlur(light, light, {}, 9);
  photo.bgr += light;
  cv::ellipse(photo.bgr, at(106, 12), {40, 60}, 0, 0, 360, {110, 140, 200}, cv::FILLED);
  const auto map = from_ruler(photo.bgr, assumed_camera(1000, 750), photo.image_from_print({20, 10}), photo.image_from_print({120, 10}), 100);
  REQUIRE(map.ok());
  INFO(100 * ruler_error(*map, photo, 10) << " %, u " << 100 * map->scale_relative_u);
  CHECK(std::abs(ruler_error(*map, photo, 10)) < 2 * map->scale_relative_u);
}

TEST_CASE("a coin under a fin's edge and one hardly brighter than the skin are measured within their doubt or refused") {
  int measured = 0;
  for (const double coin : {190.0, 150.0, 138.0, 131.0})
    for (const double covered_mm : {0.0, 3.0, 7.0}) {
      auto view = near_view();
      view.tilt_deg = 8;
      auto photo = photograph(coin_print(coin, 125), kFine, view);
      if (covered_mm > 0) {
        // A fin from the right, a straight edge, darker than both.
        std::vector<cv::Point> fin;
        for (const auto& [x, y] : {std::pair{72.5 - covered_mm, 20.0}, {100.0, 20.0}, {100.0, 62.0}, {72.5 - covered_mm + 2, 62.0}}) {
          const auto p = photo.image_from_print({x, y});
          fin.emplace_back(static_cast<int>(p.x), static_cast<int>(p.y));
        }
        cv::fillConvexPoly(photo.bgr, fin, {60, 70, 95});
      }
      const auto map = from_disc(photo.bgr, assumed_camera(1000, 750), photo.image_from_print({58, 41}), 25);
      INFO("coin of " << coin << " on 125, " << covered_mm << " mm of it covered");
      if (!map) {
        CHECK((map.refusal().code == "no-disc" || map.refusal().code == "rim-unclear"));
        continue;
      }
      ++measured;
      const auto middle = photo.image_from_print({60, 40});
      const double error = area_ratio(*map, photo, 60, 40, 6) - 1, u = area_scale_u(*map, middle);
      INFO("area off by " << 100 * error << " %, u " << 100 * u << " %");
      CHECK(std::abs(error) < 3 * u);
    }
  CHECK(measured >= 5);
}

TEST_CASE("an ID-1 card picked on its rounded corners is measured by its straight edges, or says that it was not") {
  // ISO/IEC 7810: 85.60 x 53.98 mm, corners of radius 3.18 mm (2.88 to 3.48).
  const double w = 85.6, h = 53.98, r = 3.18, x0 = 20, y0 = 15;
  for (const double grey : {215.0, 134.0}) {
    cv::Mat print(90 * kFine, 130 * kFine, CV_8UC3, cv::Scalar::all(125));
    fill(print, x0 + r, y0, w - 2 * r, h, grey);
    fill(print, x0, y0 + r, w, h - 2 * r, grey);
    for (const auto& [x, y] : {std::pair{x0 + r, y0 + r}, {x0 + w - r, y0 + r}, {x0 + w - r, y0 + h - r}, {x0 + r, y0 + h - r}})
      cv::circle(print, {static_cast<int>(std::lround((x * kFine - 0.5) * 16)), static_cast<int>(std::lround((y * kFine - 0.5) * 16))},
                 static_cast<int>(std::lround(r * kFine * 16)), cv::Scalar::all(grey), cv::FILLED, cv::LINE_AA, 4);
    auto view = near_view();
    view.tilt_deg = 12;
    const auto photo = photograph(print, kFine, view);
    // The middle of each arc, where the eye sees the corner.
    const double in = r * (1 - std::sqrt(0.5));
    const std::array<ImagePoint, 4> picks{photo.image_from_print({x0 + in, y0 + in}), photo.image_from_print({x0 + w - in, y0 + in}),
                                          photo.image_from_print({x0 + w - in, y0 + h - in}), photo.image_from_print({x0 + in, y0 + h - in})};
    const auto map = from_rectangle(photo.bgr, assumed_camera(1000, 750), picks, w, h);
    REQUIRE(map.ok());
    const double error = area_ratio(*map, photo, 60, 78, 6) - 1;
    INFO("card of " << grey << " on 125: " << 100 * error << " %");
    if (!warned(*map, "edges-not-found")) CHECK(std::abs(error) < 0.01);
    if (grey > 200) CHECK_FALSE(warned(*map, "edges-not-found"));
  }
}

TEST_CASE("a mirrored photo of the card is refused as such") {
  const auto photo = photograph(card(), kFine, card_view());
  for (const int way : {0, 1}) {  // as a front camera, or upside down, mirrors
    cv::Mat mirrored;
    cv::flip(photo.bgr, mirrored, way);
    const auto map = find_card(mirrored, assumed_camera(1000, 750));
    REQUIRE_FALSE(map.ok());
    CHECK(map.refusal().code == "mirrored");
  }
  cv::Mat turned;
  cv::rotate(photo.bgr, turned, cv::ROTATE_180);
  REQUIRE(find_card(turned, assumed_camera(1000, 750)).ok());
}

TEST_CASE("two cards in one photo are measured by one of them or refused, never by a mixture") {
  auto view = card_view();
  view.width = 1300, view.distance_mm = 470;
  view.x_mm = -66;
  const auto left = photograph(card(), kFine, view);
  // The other lies 60 mm higher, nearer to the camera, so that its scale is another.
  auto other_view = view;
  other_view.x_mm = 66, other_view.distance_mm = 410, other_view.turn_deg = 12;
  const auto right = photograph(card(), kFine, other_view);
  cv::Mat both = left.bgr.clone();
  right.bgr(cv::Rect(650, 0, 650, 750)).copyTo(both(cv::Rect(650, 0, 650, 750)));
  const auto map = find_card(both, assumed_camera(1300, 750));
  if (map) {
    const double by_left = area_ratio(*map, left, 50, 25, 6), by_right = area_ratio(*map, right, 50, 25, 6);
    CHECK(std::min(std::abs(by_left - 1), std::abs(by_right - 1)) < 0.01);
  } else {
    CHECK(map.refusal().code == "curled");
    CHECK(map.refusal().text.find("two cards") != std::string::npos);
  }
}

TEST_CASE("a card printed at 97 % is told by a second reference in the photo, one printed true is not") {
  for (const double printed : {0.97, 1.0}) {
    // The printed card and an ID-1 card (ISO/IEC 7810: 85.60 x 53.98 mm) in one plane.
    cv::Mat print(130 * kFine, 160 * kFine, CV_8UC3, cv::Scalar::all(110)), small;
    cv::resize(card(), small, {}, printed, printed, cv::INTER_AREA);
    small.copyTo(print(cv::Rect(3 * kFine, 2 * kFine, small.cols, small.rows)));
    const double x0 = 10, y0 = 70, w = std::round(85.6 * kFine) / kFine, h = std::round(53.98 * kFine) / kFine;
    fill(print, x0, y0, w, h, 225);
    auto view = card_view();
    view.contrast = 1, view.dark = 0, view.width = 1300, view.height = 1000, view.focal_px = 1400, view.tilt_deg = 6;
    const auto photo = photograph(print, kFine, view);
    const auto camera = assumed_camera(1300, 1000);
    const auto by_card = find_card(photo.bgr, camera);
    REQUIRE(by_card.ok());
    const auto plate = from_rectangle(
        photo.bgr, camera, {{photo.image_from_print({x0, y0}), photo.image_from_print({x0 + w, y0}), photo.image_from_print({x0 + w, y0 + h}), photo.image_from_print({x0, y0 + h})}}, w, h);
    REQUIRE(plate.ok());
    margin::Margin wound;
    wound.outline.parts.push_back({});
    for (int k = 0; k < 60; ++k) wound.outline.parts[0].outer.push_back(photo.image_from_print({122 + 10 * std::cos(k * M_PI / 30), 90 + 10 * std::sin(k * M_PI / 30)}));
    const auto told = measure::compare_references(by_card->kind, measure::measure(*by_card, wound).value(), plate->kind, measure::measure(*plate, wound).value());
    INFO("printed at " << printed << ": card " << area_ratio(*by_card, photo, 122, 90, 10) << ", plate " << area_ratio(*plate, photo, 122, 90, 10));
    CHECK(told.has_value() == (printed < 1));
  }
}
