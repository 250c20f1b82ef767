#include <catch2/catch.hpp>
#include <opencv2/imgproc.hpp>

#include "uroko/base/random.h"
#include "uroko/margin/margin.h"

using namespace uroko;
using namespace uroko::margin;

namespace {

Ring<ImagePoint> circle(ImagePoint c, double r, int n = 120) {
  Ring<ImagePoint> ring;
  for (int i = 0; i < n; ++i) ring.push_back({c.x + r * std::cos(2 * CV_PI * i / n), c.y + r * std::sin(2 * CV_PI * i / n)});
  return ring;
}

/// Pale skin, a dark red disc of radius 60 at (200, 150) with a tongue of radius 22 at its right, and grain.
constexpr ImagePoint kMiddle{200, 150}, kTongue{264, 150};
ImageOutline truth() { return united(ImageOutline{{{circle(kMiddle, 60), {}}}}, ImageOutline{{{circle(kTongue, 22), {}}}}); }
cv::Mat photo() {
  Random random(5);
  const auto wound = truth();
  cv::Mat bgr(300, 400, CV_8UC3);
  for (int y = 0; y < bgr.rows; ++y)
    for (int x = 0; x < bgr.cols; ++x) {
      const bool in = contains(wound, {static_cast<double>(x), static_cast<double>(y)});
      const double noise = random.normal(0, 4);
      bgr.at<cv::Vec3b>(y, x) = {cv::saturate_cast<uchar>((in ? 60 : 190) + noise), cv::saturate_cast<uchar>((in ? 50 : 205) + noise),
                                 cv::saturate_cast<uchar>((in ? 150 : 225) + noise)};
    }
  cv::GaussianBlur(bgr, bgr, {}, 1);
  return bgr;
}
std::string code(const Result<Margin>& result) { return result ? "found" : result.refusal().code; }

}  // namespace

TEST_CASE("a stroke through a forgotten tongue brings it in to its edge, and vertices far from it stay to the last bit") {
  const auto bgr = photo();
  const auto before = given(bgr, {{{circle(kMiddle, 60), {}}}});
  const double lacking = area(truth()) - area(before.outline);
  const auto after = refine(bgr, before, {{{262, 150}, {270, 150}, {279, 150}}}, {});
  REQUIRE(after);
  CHECK(std::abs(area(after->outline) - area(truth())) < 0.3 * lacking);
  CHECK(contains(after->outline, {280, 150}));
  CHECK(after->doubt_px.size() == after->outline.parts.front().outer.size());
  int kept = 0;
  for (const auto& p : before.outline.parts.front().outer) {
    if (p.x > 180) continue;
    const auto& ring = after->outline.parts.front().outer;
    kept += std::any_of(ring.begin(), ring.end(), [&](const auto& q) { return distance(p, q) < 1e-9; });
    CHECK(contains(after->outline, {kMiddle.x + 0.98 * (p.x - kMiddle.x), kMiddle.y + 0.98 * (p.y - kMiddle.y)}));
  }
  CHECK(kept > 30);
}

TEST_CASE("a stroke through skin that was taken in puts it out again") {
  const auto bgr = photo();
  const auto wide = given(bgr, united(truth(), ImageOutline{{{circle({140, 150}, 20), {}}}}));
  const auto after = refine(bgr, wide, {}, {{{130, 146}, {128, 150}, {130, 154}}});
  REQUIRE(after);
  CHECK_FALSE(contains(after->outline, {129, 150}));
  CHECK(dice(after->outline, truth()) > dice(wide.outline, truth()));
  CHECK(dice(after->outline, truth()) > 0.99);
}

TEST_CASE("a stroke where the margin already is as it says changes nothing") {
  const auto bgr = photo();
  const auto before = given(bgr, truth());
  const auto after = refine(bgr, before, {{{190, 150}, {210, 150}}}, {{{20, 20}, {40, 20}}});
  REQUIRE(after);
  CHECK(after->outline == before.outline);
}

TEST_CASE("strokes that cannot be followed are refused with their code and what to do") {
  const auto bgr = photo();
  const auto before = given(bgr, truth());
  CHECK(code(refine(bgr, before, {{{180, 150}, {220, 150}}}, {{{200, 130}, {200, 170}}})) == "strokes-contradict");
  CHECK(code(refine(bgr, before, {{{180, 150}}}, {{{180, 150}}})) == "strokes-contradict");
  CHECK(code(refine(bgr, before, {{{500, 150}, {510, 150}}}, {})) == "stroke-outside");
  CHECK(code(refine(bgr, before, {{{std::nan(""), 150}, {210, 150}}}, {})) == "stroke-points");
  CHECK(code(refine(cv::Mat(1, 400, CV_8UC3, cv::Scalar(1, 2, 3)), before, {{{200, 0}}}, {})) == "photo-too-small");
  Margin crossed;
  crossed.outline = {{{{{100, 100}, {300, 200}, {300, 100}, {100, 200}}, {}}}};
  CHECK(code(refine(bgr, crossed, {{{200, 120}}}, {})) == "margin-invalid");
}
