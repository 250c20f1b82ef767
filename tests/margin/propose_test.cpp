// A margin without any hint.
#include <catch2/catch.hpp>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "margin/raster.h"
#include "uroko/margin/margin.h"
#include "uroko/scenes/sample_case.h"

using namespace uroko;

namespace {

double dice(const ImageOutline& a, const ImageOutline& b, const cv::Size& size) {
  const cv::Mat x = margin::filled(a, size), y = margin::filled(b, size);
  return 2.0 * cv::countNonZero(x & y) / (cv::countNonZero(x) + cv::countNonZero(y));
}

/// A dark red patch on even skin beside a black and white board.
cv::Mat painted(const ImagePoint& at, double radius, const cv::Scalar& skin, const cv::Scalar& bed) {
  cv::Mat bgr(600, 800, CV_8UC3, skin), noise(bgr.size(), CV_8UC3);
  cv::ellipse(bgr, {static_cast<int>(at.x), static_cast<int>(at.y)}, {static_cast<int>(radius), static_cast<int>(0.8 * radius)}, 20, 0, 360, bed, -1,
              cv::LINE_AA);
  for (int k = 0; k < 12; ++k)
    cv::rectangle(bgr, {60 + 20 * (k % 4), 80 + 20 * (k / 4), 10, 10}, k % 2 ? cv::Scalar(20, 20, 20) : cv::Scalar(240, 240, 240), -1);
  cv::theRNG().state = 5;
  cv::randn(noise, 0, 3);
  cv::Mat out;
  cv::add(bgr, noise, out, {}, CV_8UC3);
  cv::GaussianBlur(out, out, {}, 0.8);
  return out;
}

}  // namespace

TEST_CASE("without a hint a plain dark red patch is found and marked as a proposal") {
  const auto at = GENERATE(ImagePoint{500, 320}, ImagePoint{300, 420});
  const double radius = GENERATE(24., 70.);
  const auto bgr = painted(at, radius, {170, 190, 210}, {50, 55, 140});
  const ImageOutline board{{{{{50, 70}, {150, 70}, {150, 150}, {50, 150}}, {}}}};
  const auto found = margin::propose(bgr, board);
  REQUIRE(found);
  CHECK(found->proposal);
  CHECK(found->from == margin::From::automatic);
  CHECK(std::any_of(found->warnings.begin(), found->warnings.end(), [](const Warning& w) { return w.code == "proposal"; }));
  CHECK(area(found->outline) == Approx(CV_PI * radius * 0.8 * radius).epsilon(0.08));
}

TEST_CASE("a photo in which nothing stands out has no proposal") {
  cv::Mat plain(480, 640, CV_8UC3, cv::Scalar(170, 190, 210)), noise(plain.size(), CV_8UC3), out;
  cv::theRNG().state = 9;
  cv::randn(noise, 0, 3);
  cv::add(plain, noise, out);
  const auto found = margin::propose(out, {});
  REQUIRE_FALSE(found);
  CHECK(found.refusal().code == "nothing-found");
}

TEST_CASE("among a koi's red and black patches the wound is proposed, not the pattern") {
  // Two visits of the sample case, whose photos are larger than need be here.
  for (const std::size_t n : {2u, 6u}) {
    auto visit = scenes::sample_case().visits[n];
    const auto truth = scenes::truth_of(visit.scene);
    cv::Mat bgr;
    cv::resize(scenes::render(visit.scene, visit.noise), bgr, {}, 0.4, 0.4, cv::INTER_AREA);
    const auto smaller = [](const ImagePoint& p) { return ImagePoint{(p.x + 0.5) * 0.4 - 0.5, (p.y + 0.5) * 0.4 - 0.5}; };
    const ImageOutline card{{{Ring<ImagePoint>(truth.card_corners.begin(), truth.card_corners.end()), {}}}};
    margin::FinderOptions options;
    options.mm_per_px = 0.2;
    const auto found = margin::propose(bgr, mapped<ImagePoint, ImagePoint>(card, smaller), options);
    REQUIRE(found);
    CHECK(dice(found->outline, mapped<ImagePoint, ImagePoint>(truth.outline, smaller), bgr.size()) > 0.85);
  }
}

TEST_CASE("a photo of one colour, a reference that covers all of it and a patch of five pixels are answered") {
  const auto refused = [](const Result<margin::Margin>& found) { return !found && found.refusal().code == "nothing-found"; };
  for (const int grey : {0, 128, 255}) CHECK(refused(margin::propose(cv::Mat(300, 400, CV_8UC3, cv::Scalar::all(grey)), {})));
  CHECK(refused(margin::propose(cv::Mat(300, 400, CV_8UC3, cv::Scalar(40, 40, 150)), {})));
  const ImageOutline all{{{{{-1, -1}, {800, -1}, {800, 600}, {-1, 600}}, {}}}};
  CHECK(refused(margin::propose(painted({500, 320}, 60, {170, 190, 210}, {50, 55, 140}), all)));
  cv::Mat speck(300, 400, CV_8UC3, cv::Scalar(170, 190, 210));
  cv::circle(speck, {200, 150}, 1, {50, 55, 140}, -1);
  CHECK(refused(margin::propose(speck, {})));
  CHECK_FALSE(margin::propose(cv::Mat(1, 400, CV_8UC3, cv::Scalar(40, 40, 150)), {}));
  CHECK_FALSE(margin::propose(cv::Mat(), {}));
}
