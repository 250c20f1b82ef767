#include <algorithm>
#include <catch2/catch.hpp>
#include <opencv2/imgproc.hpp>

#include "bench/margin_koi.h"
#include "margin/shapes.h"
#include "uroko/base/random.h"
#include "uroko/margin/margin.h"

using namespace uroko;
using namespace uroko::margin;

namespace {

/// Pale skin with noise and a red ellipse whose edge is a Gaussian of sigma `soft`.
cv::Mat photo_of(ImagePoint c, double a, double b, double soft, cv::Size size = {480, 360}) {
  Random random(3);
  cv::Mat bgr(size, CV_8UC3);
  for (int y = 0; y < size.height; ++y)
    for (int x = 0; x < size.width; ++x) {
      const double r = std::hypot((x - c.x) / a, (y - c.y) / b);
      const double d = (r - 1) * std::sqrt(a * b);
      const double in = 0.5 * std::erfc(d / soft / std::sqrt(2.0));
      const double noise = random.normal(0, 4);
      const auto mix = [&](double wound, double skin) { return cv::saturate_cast<uchar>(in * wound + (1 - in) * skin + noise); };
      bgr.at<cv::Vec3b>(y, x) = {mix(60, 190), mix(50, 205), mix(150, 225)};
    }
  return bgr;
}

}  // namespace

TEST_CASE("a rough loop round a red ellipse gives its area to one percent") {
  const auto bgr = photo_of({230, 180}, 90, 60, 1.2);
  const auto found = find_in_loop(bgr, outline(ellipse({235, 178}, 118, 80, 12)));
  REQUIRE(found);
  CHECK(area(found->outline) == Approx(CV_PI * 90 * 60).epsilon(0.01));
  CHECK(dice(found->outline, outline(ellipse({230, 180}, 90, 60, 90))) > 0.99);
  CHECK(found->from == From::loop);
  CHECK_FALSE(found->proposal);
  CHECK(found->doubt_px.size() == found->outline.parts.front().outer.size());
  CHECK(found->common_px > 0.1);
  CHECK(found->common_px < 1.5);
}

TEST_CASE("a point in a red ellipse gives its area to two percent") {
  const auto bgr = photo_of({230, 180}, 70, 50, 1.2);
  const auto found = find_from_point(bgr, {240, 170});
  REQUIRE(found);
  CHECK(area(found->outline) == Approx(CV_PI * 70 * 50).epsilon(0.02));
  CHECK(found->from == From::seed);
}

TEST_CASE("a point that may mean either of two edges round it says so and is far less sure than one with a single edge") {
  cv::Mat one(340, 480, CV_8UC3, cv::Scalar(205, 215, 222));
  Random random(3);
  const auto grained = [&](cv::Mat m) {
    cv::GaussianBlur(m, m, {}, 1.2);
    for (int y = 0; y < m.rows; ++y)
      for (int x = 0; x < m.cols; ++x)
        for (int c = 0; c < 3; ++c) m.at<cv::Vec3b>(y, x)[c] = cv::saturate_cast<uchar>(m.at<cv::Vec3b>(y, x)[c] + random.normal(0, 3));
    return m;
  };
  cv::Mat two = one.clone();
  cv::circle(one, {240, 170}, 40, cv::Scalar(60, 55, 150), cv::FILLED);
  cv::circle(two, {240, 170}, 100, cv::Scalar(120, 130, 200), cv::FILLED);
  cv::circle(two, {240, 170}, 40, cv::Scalar(60, 55, 150), cv::FILLED);
  const auto asked = [](const Margin& m) { return std::any_of(m.warnings.begin(), m.warnings.end(), [](const Warning& w) { return w.code == "point-doubtful"; }); };
  const auto plain = find_from_point(grained(one), {240, 170});
  REQUIRE(plain);
  CHECK_FALSE(asked(*plain));
  CHECK(plain->common_px < 4);
  const auto either = find_from_point(grained(two), {240, 170});
  REQUIRE(either);
  CHECK(asked(*either));
  CHECK(either->common_px > 5 * plain->common_px);
  CHECK(either->common_px > 10);
}

TEST_CASE("a pale lip between the bed and a vivid red coat is left outside the margin") {
  // The lip is as pale as nothing else near: by colour alone it belongs to neither side. The margin is its inner line, where lightness steps up.
  Random random(9);
  cv::Mat bgr(360, 480, CV_8UC3);
  for (int y = 0; y < bgr.rows; ++y)
    for (int x = 0; x < bgr.cols; ++x) {
      const double r = std::hypot(x - 240.0, y - 180.0), noise = random.normal(0, 4);
      const cv::Vec3d c = r < 80 ? ((x / 9 + y / 9) % 2 ? cv::Vec3d(95, 150, 180) : cv::Vec3d(50, 55, 150)) : r < 84 ? cv::Vec3d(186, 200, 226) : cv::Vec3d(32, 74, 208);
      for (int k = 0; k < 3; ++k) bgr.at<cv::Vec3b>(y, x)[k] = cv::saturate_cast<uchar>(c[k] + noise);
    }
  cv::GaussianBlur(bgr, bgr, {}, 0.8);
  const auto found = find_in_loop(bgr, outline(ellipse({243, 178}, 101, 99, 18)));
  REQUIRE(found);
  CHECK(area(found->outline) == Approx(CV_PI * 80 * 80).epsilon(0.02));  // with the lip it is 10 % more
}

TEST_CASE("the same photo and loop give the same margin to the last bit, whatever random numbers were drawn before") {
  const auto bgr = photo_of({230, 180}, 90, 60, 2);
  const auto loop = outline(ellipse({230, 180}, 115, 80, 15));
  const auto first = find_in_loop(bgr, loop);
  cv::theRNG().state = 12345;
  const auto second = find_in_loop(bgr, loop);
  REQUIRE(first);
  REQUIRE(second);
  CHECK(first->outline == second->outline);
  CHECK(first->doubt_px == second->doubt_px);
}

TEST_CASE("a loop that cannot be used is refused with its code and what to do") {
  const auto bgr = photo_of({230, 180}, 90, 60, 1.5);
  const auto code = [&](const cv::Mat& photo, const ImageOutline& loop) {
    const auto result = find_in_loop(photo, loop);
    if (result) return std::string("found");
    CHECK_FALSE(result.refusal().text.empty());
    CHECK_FALSE(result.refusal().advice.empty());
    return result.refusal().code;
  };
  CHECK(code(bgr, {}) == "loop-points");
  CHECK(code(bgr, outline({{10, 10}, {20, 20}})) == "loop-points");
  CHECK(code(bgr, outline(ellipse({2000, 180}, 90, 60, 90))) == "loop-outside");
  CHECK(code(bgr, outline({{100, 100}, {300, 260}, {300, 100}, {100, 260}})) == "loop-crosses");
  CHECK(code(bgr, outline({{-1000, -1000}, {2000, -1000}, {2000, 2000}, {-1000, 2000}})) == "loop-large");
  CHECK(code(bgr, outline({{100, 100}, {102, 100}, {102, 102}})) == "loop-small");
  CHECK(code({}, outline(ellipse({230, 180}, 90, 60, 90))) == "photo-empty");
  CHECK(code(cv::Mat(1, 400, CV_8UC3, cv::Scalar(1, 2, 3)), outline(ellipse({230, 0}, 90, 60, 90))) == "photo-too-small");
}

TEST_CASE("a loop round plain skin finds no edge and says so, at any grain of the skin") {
  for (const double grain : {2.0, 6.0}) {
    for (std::uint64_t seed = 1; seed <= 3; ++seed) {
      Random random(seed);
      cv::Mat bgr(360, 480, CV_8UC3), coarse(90, 120, CV_8UC3);
      for (int y = 0; y < coarse.rows; ++y)
        for (int x = 0; x < coarse.cols; ++x) {
          const double n = random.normal(0, grain);
          coarse.at<cv::Vec3b>(y, x) = {cv::saturate_cast<uchar>(190 + n), cv::saturate_cast<uchar>(205 + n), cv::saturate_cast<uchar>(225 + n)};
        }
      cv::resize(coarse, bgr, bgr.size(), 0, 0, cv::INTER_LINEAR);
      INFO("seed " << seed << ", grain " << grain);
      const auto found = find_in_loop(bgr, outline(ellipse({235, 178}, 118, 80, 12)));
      REQUIRE_FALSE(found);
      CHECK(found.refusal().code == "no-edge");
    }
  }
}

namespace {

bool says_more_than_one(const Margin& m) {
  return std::any_of(m.warnings.begin(), m.warnings.end(), [](const Warning& w) { return w.code == "more-than-one"; });
}

}  // namespace

TEST_CASE("two wounds in one loop are told, whichever is outlined, a loop round either is not told of the other") {
  auto bgr = photo_of({150, 180}, 60, 50, 1.2);
  const auto second = photo_of({310, 180}, 45, 50, 1.2);
  second.colRange(240, bgr.cols).copyTo(bgr.colRange(240, bgr.cols));
  const auto both = find_in_loop(bgr, outline(ellipse({226, 180}, 160, 90, 24)));
  REQUIRE(both);
  CHECK(says_more_than_one(*both));
  for (const auto& loop : {ellipse({150, 180}, 76, 66, 18), ellipse({310, 180}, 58, 64, 18)}) {
    const auto one = find_in_loop(bgr, outline(loop));
    REQUIRE(one);
    CHECK_FALSE(says_more_than_one(*one));
  }
}

TEST_CASE("glare on a wound and the scales beside it are not taken for a second wound") {
  for (const auto* stratum : {"glare", "scales"}) {
    const auto c = eval::koi_case(stratum, 3);
    const auto found = find_in_loop(c.bgr, eval::rough_loop(c, 0.25, 5));
    REQUIRE(found);
    CHECK_FALSE(says_more_than_one(*found));
    CHECK(found->outline.parts.size() == 1);
  }
}

TEST_CASE("a given outline is kept as drawn and carries a doubt at every vertex") {
  const auto bgr = photo_of({230, 180}, 90, 60, 2);
  const auto drawn = outline(ellipse({230, 180}, 90, 60, 40));
  const auto margin = given(bgr, drawn);
  CHECK(margin.outline == drawn);
  CHECK(margin.from == From::given);
  CHECK(margin.doubt_px.size() == 40);
  CHECK(margin.common_px >= 0.5);
  CHECK(given({}, drawn).common_px == Approx(1));
}

TEST_CASE("names of origins are those of the interface") {
  CHECK(std::string(name(From::given)) == "given");
  CHECK(std::string(name(From::loop)) == "loop");
  CHECK(std::string(name(From::seed)) == "seed");
  CHECK(std::string(name(From::automatic)) == "auto");
}

TEST_CASE("margin: a loop 45 % of the radius outside that first holds on to the coat's pattern is looked at once more from there") {
  // The first margin lies on scales and a red patch outside the wound, where there is no edge: it was refused as "no-edge".
  const auto c = eval::koi_case("usual", 12);
  const auto found = find_in_loop(c.bgr, eval::rough_loop(c, 0.45, 17 + std::hash<std::string>{}(c.name) % 997));
  REQUIRE(found);
  eval::Scores scores;
  scores.add(c, eval::mask_of(found->outline, c.bgr.size()));
  CHECK(scores.dice[0] > 0.95);
}
