#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "uroko/bed/bed.h"
#include "uroko/scale/references.h"

using namespace uroko;

namespace {
// 10 px a mm.
scale::PlaneMap flat_map() {
  return *scale::from_rectangle({}, scale::assumed_camera(900, 900), {ImagePoint{0, 0}, {100, 0}, {100, 100}, {0, 100}}, 10, 10);
}
ImageOutline disc(double x, double y, double r) {
  ImageOutline out{{{{}, {}}}};
  for (int i = 0; i < 180; ++i) out.parts[0].outer.push_back({x + r * std::cos(i * std::numbers::pi / 90), y + r * std::sin(i * std::numbers::pi / 90)});
  return out;
}
const cv::Scalar kSkin(205, 212, 225), kRim(150, 160, 225), kWound(36, 38, 166);
}  // namespace

TEST_CASE("a reddened ring of 4 mm around a wound of 10 mm radius is measured as one") {
  cv::Mat photo(900, 900, CV_8UC3, kSkin);
  cv::circle(photo, {450, 450}, 140, kRim, cv::FILLED, cv::LINE_AA);
  cv::circle(photo, {450, 450}, 100, kWound, cv::FILLED, cv::LINE_AA);
  const auto rim = bed::reddened_rim(photo, disc(450, 450, 100), flat_map(), {});
  REQUIRE(rim);
  const double truth = std::numbers::pi * (14 * 14 - 10 * 10);
  CHECK(rim->mm2 == Approx(truth).epsilon(0.12));
  CHECK(std::abs(rim->mm2 - truth) < 1.96 * rim->mm2_u);
  CHECK(rim->judged == 1);
  CHECK(rim->rise == Approx(bed::lab_from_srgb(225, 160, 150).a - bed::lab_from_srgb(225, 212, 205).a).margin(2));
}

TEST_CASE("calm skin has no rim, and a red patch of the coat is not taken for one") {
  cv::Mat photo(900, 900, CV_8UC3, kSkin);
  cv::circle(photo, {450, 450}, 100, kWound, cv::FILLED, cv::LINE_AA);
  const auto calm = bed::reddened_rim(photo, disc(450, 450, 101), flat_map(), {});
  REQUIRE(calm);
  CHECK(calm->mm2 < 0.05 * std::numbers::pi * 100);
  cv::Mat patched = photo.clone();
  patched.colRange(0, 380).setTo(cv::Scalar(30, 50, 215));
  cv::circle(patched, {450, 450}, 100, kWound, cv::FILLED, cv::LINE_AA);
  const auto half = bed::reddened_rim(patched, disc(450, 450, 101), flat_map(), {});
  REQUIRE(half);
  CHECK(half->judged < 0.85);
  CHECK(half->mm2 < 0.1 * std::numbers::pi * 100);
}

TEST_CASE("a wound that fills the photo leaves no skin to judge") {
  const cv::Mat photo(200, 200, CV_8UC3, kWound);
  CHECK(bed::reddened_rim(photo, disc(100, 100, 98), flat_map(), {}).refusal().code == "rim");
}
