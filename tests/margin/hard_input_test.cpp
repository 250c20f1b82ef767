// What a careless hand or a strange photo can give the finders: each time a margin or one clear refusal.
#include <algorithm>
#include <catch2/catch.hpp>
#include <limits>
#include <opencv2/imgproc.hpp>

#include "margin/shapes.h"
#include "uroko/base/random.h"
#include "uroko/margin/margin.h"

using namespace uroko;
using namespace uroko::margin;

namespace {

/// An ellipse of one colour (drawn with its rim, half a pixel wider than asked) on skin of another, with grain.
cv::Mat photo_of(const cv::Scalar& wound, const cv::Scalar& skin, ImagePoint c = {150, 110}, double a = 50, double b = 36) {
  cv::Mat bgr(220, 300, CV_8UC3, skin);
  cv::ellipse(bgr, cv::Point(cvRound(c.x), cvRound(c.y)), cv::Size(cvRound(a), cvRound(b)), 0, 0, 360, wound, -1, cv::LINE_AA);
  cv::GaussianBlur(bgr, bgr, {}, 1.2);
  Random random(11);
  for (int y = 0; y < bgr.rows; ++y)
    for (int x = 0; x < bgr.cols; ++x) {
      const double noise = random.normal(0, 3);
      for (int k = 0; k < 3; ++k) bgr.at<cv::Vec3b>(y, x)[k] = cv::saturate_cast<uchar>(bgr.at<cv::Vec3b>(y, x)[k] + noise);
    }
  return bgr;
}
const cv::Scalar kRed(60, 50, 150), kPale(190, 205, 225);

/// A margin that is valid, or a refusal that says what happened and what to do.
std::string answer(const Result<Margin>& result) {
  if (result) {
    CHECK_FALSE(find_fault(result->outline));
    CHECK(area(result->outline) > 0);
    for (const double d : result->doubt_px) CHECK(std::isfinite(d));
    CHECK(std::isfinite(result->common_px));
    return "found";
  }
  CHECK_FALSE(result.refusal().text.empty());
  CHECK_FALSE(result.refusal().advice.empty());
  return result.refusal().code;
}

}  // namespace

TEST_CASE("black skin: a wound paler than all around it is found to two percent") {
  const auto bgr = photo_of({150, 160, 205}, {50, 46, 44});
  const auto found = find_in_loop(bgr, outline(ellipse({152, 109}, 64, 48, 16)));
  REQUIRE(found);
  CHECK(area(found->outline) == Approx(CV_PI * 50.5 * 36.5).epsilon(0.02));
}

TEST_CASE("a photo without colour: the wound is found by its lightness alone") {
  cv::Mat grey, bgr;
  cv::cvtColor(photo_of(kRed, kPale), grey, cv::COLOR_BGR2GRAY);
  cv::cvtColor(grey, bgr, cv::COLOR_GRAY2BGR);
  const auto found = find_in_loop(bgr, outline(ellipse({152, 109}, 64, 48, 16)));
  REQUIRE(found);
  CHECK(area(found->outline) == Approx(CV_PI * 50.5 * 36.5).epsilon(0.02));
  answer(propose(bgr, {}));
}

TEST_CASE("an island of skin is kept as a hole where holes are asked for") {
  auto bgr = photo_of(kRed, kPale, {150, 110}, 80, 60);
  cv::Mat island = photo_of(kPale, kPale);
  cv::Mat mask = cv::Mat::zeros(bgr.size(), CV_8U);
  cv::circle(mask, {160, 112}, 18, 255, -1);
  island.copyTo(bgr, mask);
  cv::GaussianBlur(bgr, bgr, {}, 0.8);
  const auto loop = outline(ellipse({152, 109}, 100, 76, 16));
  FinderOptions options;
  options.keep_holes = true;
  const auto found = find_in_loop(bgr, loop, options);
  REQUIRE(found);
  REQUIRE(found->outline.parts.size() == 1);
  REQUIRE(found->outline.parts[0].holes.size() == 1);
  CHECK(std::abs(signed_area(found->outline.parts[0].holes[0])) == Approx(cv::countNonZero(mask)).epsilon(0.08));
  CHECK(find_in_loop(bgr, loop)->outline.parts[0].holes.empty());
}

TEST_CASE("a one-channel or a 16-bit picture is refused as such by every finder") {
  const cv::Mat grey(200, 200, CV_8U, cv::Scalar(90)), deep(200, 200, CV_16UC3, cv::Scalar::all(900));
  Margin present;
  present.outline = outline(ellipse({100, 100}, 40, 40, 24));
  for (const auto& photo : {grey, deep}) {
    CHECK(answer(find_in_loop(photo, outline(ellipse({100, 100}, 40, 40, 24)))) == "photo-kind");
    CHECK(answer(find_from_point(photo, {100, 100})) == "photo-kind");
    CHECK(answer(propose(photo, {})) == "photo-kind");
    CHECK(answer(refine(photo, present, {{{10, 10}}}, {})) == "photo-kind");
  }
}

TEST_CASE("loops of a careless hand: each has its answer") {
  const auto bgr = photo_of(kRed, kPale);
  const double nan = std::nan(""), inf = std::numeric_limits<double>::infinity();
  CHECK(answer(find_in_loop(bgr, outline({{10, 10}, {nan, 20}, {20, 40}}))) == "loop-points");
  CHECK(answer(find_in_loop(bgr, outline({{10, 10}, {inf, 20}, {20, 40}}))) == "loop-points");
  CHECK(answer(find_in_loop(bgr, outline({{10, 10}, {10, 10}, {10, 10}}))) != "found");
  CHECK(answer(find_in_loop(bgr, outline({{10, 10}, {60, 60}, {110, 110}}))) != "found");
  CHECK(answer(find_in_loop(bgr, outline({{150, 110}, {151, 110}, {151, 111}, {150, 111}}))) == "loop-small");
  CHECK(answer(find_in_loop(bgr, outline({{-1, -1}, {300, -1}, {300, 220}, {-1, 220}}))) == "loop-large");
  CHECK(answer(find_in_loop(bgr, outline(ellipse({-500, -500}, 30, 30, 24)))) == "loop-outside");
  // A pigtail where the ends meet is cut off, and the wound is found all the same.
  auto pigtail = ellipse({152, 109}, 64, 48, 16);
  pigtail.insert(pigtail.end(), {{217, 104}, {213, 100}, {211, 106}, {218, 108}});
  CHECK(answer(find_in_loop(bgr, outline(pigtail))) == "found");
  // Half in the photo, through the wound, drawn the other way round, with every point twice.
  CHECK_FALSE(answer(find_in_loop(bgr, outline(ellipse({290, 110}, 60, 60, 24)))).empty());
  CHECK_FALSE(answer(find_in_loop(bgr, outline(ellipse({200, 110}, 60, 60, 24)))).empty());
  auto back = ellipse({152, 109}, 64, 48, 16);
  std::reverse(back.begin(), back.end());
  CHECK(answer(find_in_loop(bgr, outline(back))) == "found");
  // A very thin loop.
  CHECK_FALSE(answer(find_in_loop(bgr, outline({{20, 100}, {280, 100}, {280, 103}, {20, 103}}))).empty());
}

TEST_CASE("points of a careless hand: each has its answer") {
  const auto bgr = photo_of(kRed, kPale);
  CHECK(answer(find_from_point(bgr, {std::nan(""), 3})) == "point-outside");
  CHECK(answer(find_from_point(bgr, {-20, 3})) == "point-outside");
  CHECK_FALSE(answer(find_from_point(bgr, {0, 0})).empty());
  CHECK_FALSE(answer(find_from_point(bgr, {299, 219})).empty());
  CHECK_FALSE(answer(find_from_point(cv::Mat(40, 40, CV_8UC3, cv::Scalar(90, 90, 90)), {20, 20})).empty());
}

TEST_CASE("a photo of one colour holds nothing to propose") {
  CHECK(answer(propose(cv::Mat(300, 400, CV_8UC3, cv::Scalar(200, 205, 215)), {})) == "nothing-found");
  CHECK(answer(propose(cv::Mat(300, 400, CV_8UC3, cv::Scalar(0, 0, 0)), {})) == "nothing-found");
  CHECK(answer(propose({}, {})) == "photo-empty");
}

TEST_CASE("strokes of a careless hand: each has its answer") {
  const auto bgr = photo_of(kRed, kPale);
  const auto present = given(bgr, outline(ellipse({150, 110}, 50, 36, 24)));
  CHECK(answer(refine(bgr, present, {{{-40, 10}}}, {})) == "stroke-outside");
  CHECK(answer(refine(bgr, present, {{}}, {{}})) == "found");
  // One point, a point drawn many times, a stroke right across, one through everything that is wound.
  CHECK(answer(refine(bgr, present, {{{204, 110}}}, {})) == "found");
  CHECK(answer(refine(bgr, present, {{{204, 110}, {204, 110}, {204, 110}}}, {})) == "found");
  CHECK(answer(refine(bgr, present, {{{20, 110}, {280, 110}}}, {})) == "found");
  CHECK_FALSE(answer(refine(bgr, present, {}, {{{20, 110}, {280, 110}}})).empty());
  CHECK_FALSE(answer(refine(bgr, present, {}, {{{110, 80}, {190, 140}, {110, 140}, {190, 80}}})).empty());
}
