#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "uroko/base/random.h"
#include "uroko/bed/bed.h"
#include "uroko/scale/card.h"
#include "uroko/scale/references.h"

using namespace uroko;
using bed::Tissue;

namespace {

// 0.1 mm a pixel, no tilt: the rectangle is 100 x 100 px for 10 x 10 mm.
scale::PlaneMap flat_map(double mm = 10, double x = 0, double y = 0) {
  const auto map = scale::from_rectangle({}, scale::assumed_camera(1200, 900), {ImagePoint{x, y}, {x + 100, y}, {x + 100, y + 100}, {x, y + 100}}, mm, mm);
  REQUIRE(map);
  return *map;
}

ImageOutline box(double x0, double y0, double x1, double y1) { return {{{{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}, {}}}}; }

double share_sum(const bed::Bed& b) {
  double sum = 0;
  for (const auto& t : b.tissue) sum += t.share;
  return sum;
}

const cv::Scalar kRed(34, 36, 160), kYellow(105, 178, 208), kDark(36, 42, 58), kPale(150, 160, 221);

/// Seen under a coloured lamp: gains and a power in linear light per channel.
cv::Mat cast(const cv::Mat& bgr, const std::array<double, 3>& gain, double power = 1) {
  cv::Mat lut(1, 256, CV_8UC3), out;
  for (int v = 0; v < 256; ++v)
    for (int c = 0; c < 3; ++c)
      lut.at<cv::Vec3b>(0, v)[c] = cv::saturate_cast<uchar>(255 * bed::srgb_from_linear(std::min(1.0, gain[std::size_t(c)] * std::pow(bed::linear_from_srgb(v / 255.0), power))));
  cv::LUT(bgr, lut, out);
  return out;
}

/// The card's greys drawn at 10 px a mm from (0, 0), and a wound of four equal quarters below.
cv::Mat card_and_wound() {
  cv::Mat photo(900, 1200, CV_8UC3, cv::Scalar(230, 230, 230));
  for (const auto& p : scale::card_layout().patches) {
    const double grey = 255 * scale::srgb_of_lightness(p.lab_l);
    cv::rectangle(photo, cv::Rect(int(p.x * 10), int(p.y * 10), int(p.w * 10), int(p.h * 10)), cv::Scalar::all(grey), cv::FILLED);
  }
  int i = 0;
  for (const auto& colour : {kRed, kYellow, kDark, kPale}) {
    cv::rectangle(photo, cv::Rect(200 + 100 * (i % 2), 600 + 100 * (i / 2), 100, 100), colour, cv::FILLED);
    ++i;
  }
  return photo;
}

}  // namespace

TEST_CASE("four quarters of four tissues are a quarter each, in shares and in mm2") {
  const auto map = flat_map();
  const auto got = bed::classify(card_and_wound(), box(199.5, 599.5, 399.5, 799.5), map, {});
  CHECK(share_sum(got) == Approx(1));
  for (const auto t : {Tissue::granulation, Tissue::slough, Tissue::necrotic, Tissue::pale}) {
    INFO(bed::name(t));
    CHECK(got[t].share == Approx(0.25).margin(0.01));
    CHECK(got[t].mm2 == Approx(100).margin(4));
    CHECK(got[t].share_u > 0);
  }
  CHECK(got.labels.cols == got.box.width);
  CHECK(std::any_of(got.warnings.begin(), got.warnings.end(), [](const auto& w) { return w.code == "colour-uncorrected"; }));
  CHECK(std::any_of(got.warnings.begin(), got.warnings.end(), [](const auto& w) { return w.code == "pale-ambiguous"; }));
}

TEST_CASE("the card's greys take a lamp's colour out, and the shares stay") {
  const auto map = flat_map();
  const auto straight = card_and_wound();
  for (const auto& [gain, power] : std::vector<std::pair<std::array<double, 3>, double>>{{{0.55, 0.9, 1.1}, 1}, {{1.2, 0.95, 0.6}, 1}, {{0.7, 0.7, 0.7}, 1.15}, {{0.6, 0.9, 1.0}, 0.9}}) {
    const auto photo = cast(straight, gain, power);
    const auto balance = bed::from_patches(photo, map);
    REQUIRE(balance.from == bed::WhiteBalance::From::patches);
    CHECK(balance.residual_de00 < 1);
    for (std::size_t c = 0; c < 3; ++c) {
      CHECK(balance.gamma[c] == Approx(1 / power).margin(0.03));
      CHECK(balance.gain[c] == Approx(std::pow(gain[c], -1 / power)).epsilon(0.05));
    }
    const auto got = bed::classify(photo, box(199.5, 599.5, 399.5, 799.5), map, balance);
    for (const auto t : {Tissue::granulation, Tissue::slough, Tissue::necrotic, Tissue::pale}) CHECK(got[t].share == Approx(0.25).margin(0.02));
    const auto back = bed::balanced(photo, balance).at<cv::Vec3b>(650, 250), was = straight.at<cv::Vec3b>(650, 250);
    CHECK(bed::ciede2000(bed::lab_from_srgb(back[2], back[1], back[0]), bed::lab_from_srgb(was[2], was[1], was[0])) < 2);
  }
}

TEST_CASE("greys that cannot be read leave the colour uncorrected") {
  const auto map = flat_map();
  CHECK(bed::from_patches(cv::Mat(900, 1200, CV_8UC3, cv::Scalar::all(255)), map).from == bed::WhiteBalance::From::none);
  CHECK(bed::from_patches(cv::Mat(900, 1200, CV_8UC3, cv::Scalar::all(120)), map).from == bed::WhiteBalance::From::none);
  CHECK(bed::from_patches(cv::Mat(100, 100, CV_8UC3, cv::Scalar::all(120)), map).from == bed::WhiteBalance::From::none);
  const auto coat = cv::Mat(900, 1200, CV_8UC3, cv::Scalar(20, 20, 230));
  CHECK(bed::from_patches(coat, map).from == bed::WhiteBalance::From::none);
}

TEST_CASE("a picked grey becomes neutral and keeps its lightness, a clipped one is no grey") {
  const cv::Mat photo(60, 60, CV_8UC3, cv::Scalar(110, 140, 170));
  const auto balance = bed::from_pick(photo, {30, 30});
  REQUIRE(balance.from == bed::WhiteBalance::From::pick);
  const auto p = bed::balanced(photo, balance).at<cv::Vec3b>(30, 30);
  CHECK(std::abs(p[0] - p[1]) <= 1);
  CHECK(std::abs(p[2] - p[1]) <= 1);
  CHECK(bed::lab_from_srgb(p[2], p[1], p[0]).l == Approx(bed::lab_from_srgb(170, 140, 110).l).margin(0.6));
  CHECK(bed::from_pick(photo, {-3, 10}).from == bed::WhiteBalance::From::none);
  CHECK(bed::from_pick(photo, {1000, 10}).from == bed::WhiteBalance::From::none);
  CHECK(bed::from_pick(cv::Mat(60, 60, CV_8UC3, cv::Scalar(255, 255, 255)), {30, 30}).from == bed::WhiteBalance::From::none);
}

TEST_CASE("a highlight is glare, and a colour that is no tissue is unsure") {
  cv::Mat photo(300, 300, CV_8UC3, kRed);
  cv::circle(photo, {150, 150}, 10, cv::Scalar::all(255), cv::FILLED);
  cv::rectangle(photo, cv::Rect(200, 100, 60, 100), cv::Scalar(200, 80, 30), cv::FILLED);  // a blue glove
  const auto got = bed::classify(photo, box(49.5, 49.5, 249.5, 249.5), flat_map(), {});
  CHECK(got[Tissue::glare].share == Approx(std::numbers::pi * 100 / 40000).margin(0.004));
  CHECK(got[Tissue::unsure].share == Approx(50.0 * 100 / 40000).margin(0.01));
  CHECK(got[Tissue::granulation].share > 0.85);
}

TEST_CASE("holes of the outline are not bed, and a tilted plane weighs its far side more") {
  cv::Mat photo(400, 400, CV_8UC3, kRed);
  photo.rowRange(0, 200).setTo(kYellow);
  auto outline = box(99.5, 99.5, 299.5, 299.5);
  outline.parts[0].holes.push_back({{100, 100}, {299, 100}, {299, 199.5}, {100, 199.5}});
  const auto got = bed::classify(photo, outline, flat_map(), {});
  CHECK(got[Tissue::slough].share < 0.03);
  // Rectangle narrower at the top: the top lies farther away, where a pixel is more mm2.
  const auto tilted = scale::from_rectangle({}, scale::assumed_camera(400, 400), {ImagePoint{140, 100}, {260, 100}, {300, 300}, {100, 300}}, 20, 20);
  REQUIRE(tilted);
  const auto whole = box(149.5, 149.5, 249.5, 249.5);
  const auto far_first = bed::classify(photo, whole, *tilted, {});
  const double top = area(tilted->to_plane(box(149.5, 149.5, 249.5, 199.5))), all = area(tilted->to_plane(whole));
  CHECK(far_first[Tissue::slough].share == Approx(top / all).margin(0.02));
  CHECK(top / all > 0.55);
}

TEST_CASE("turning or reversing the photo's outline changes no share") {
  const auto photo = card_and_wound();
  const auto straight = box(199.5, 599.5, 399.5, 799.5);
  auto turned = straight;
  std::reverse(turned.parts[0].outer.begin(), turned.parts[0].outer.end());
  const auto a = bed::classify(photo, straight, flat_map(), {}), b = bed::classify(photo, turned, flat_map(), {});
  for (std::size_t k = 0; k < bed::kTissues; ++k) CHECK(a.tissue[k].share == Approx(b.tissue[k].share).margin(0.002));
}

TEST_CASE("an outline beside the photo or thinner than a pixel says so instead of failing") {
  const cv::Mat photo(100, 100, CV_8UC3, kRed);
  for (const auto& outline : {box(500, 500, 600, 600), box(-300, 10, -200, 40), box(50.1, 10, 50.2, 20)}) {
    const auto got = bed::classify(photo, outline, flat_map(), {});
    CHECK(got[Tissue::unsure].share == 1);
    CHECK_FALSE(got.warnings.empty());
  }
  const auto row = bed::classify(cv::Mat(1, 400, CV_8UC3, kRed), box(10, -0.4, 90, 0.4), flat_map(), {});
  CHECK(share_sum(row) == Approx(1));
}

TEST_CASE("thresholds survive JSON, and nonsense is refused with its reason") {
  const auto& usual = bed::default_thresholds();
  CHECK(usual.why_invalid().empty());
  const auto back = bed::thresholds_from_json(bed::to_json(usual));
  REQUIRE(back);
  CHECK(bed::to_json(*back) == bed::to_json(usual));
  for (const auto* bad : {"", "{}", "[1]", R"({"version":2})", "null"}) CHECK_FALSE(bed::thresholds_from_json(bad));
  auto text = bed::to_json(usual);
  text.replace(text.find("granulation"), 11, "cherries");
  CHECK(bed::thresholds_from_json(text).refusal().code == "thresholds");
  auto wild = usual;
  wild.colours[0].spread = 0;
  CHECK_FALSE(wild.why_invalid().empty());
  CHECK_FALSE(bed::thresholds_from_json(bed::to_json(wild)));
}

TEST_CASE("picking an example makes its colour that tissue") {
  cv::Mat photo(200, 200, CV_8UC3, cv::Scalar(160, 140, 110));  // a bluish film
  const auto outline = box(19.5, 19.5, 179.5, 179.5);
  const auto before = bed::classify(photo, outline, flat_map(), {});
  CHECK(before[Tissue::slough].share < 0.05);
  const auto taught = bed::with_examples(bed::default_thresholds(), photo, {}, {{Tissue::slough, {100, 100}, 6}, {Tissue::pale, {-50, 3}, 6}, {Tissue::glare, {9, 9}, 6}});
  CHECK(taught.why_invalid().empty());
  CHECK(taught.colours.size() <= bed::default_thresholds().colours.size() + 1);
  const auto after = bed::classify(photo, outline, flat_map(), {}, taught);
  CHECK(after[Tissue::slough].share > 0.95);
  CHECK(after.options == bed::to_json(taught));
}

TEST_CASE("neither telling tissues nor teaching examples writes into the photo") {
  cv::Mat photo(120, 120, CV_8UC3, kRed);
  for (int k = 5; k < 115; k += 7) photo.at<cv::Vec3b>(k, k) = {200, 210, 220};
  const cv::Mat before = photo.clone();
  bed::with_examples(bed::default_thresholds(), photo, {}, {{Tissue::pale, {60, 60}, 6}});
  CHECK(cv::norm(photo, before, cv::NORM_INF) == 0);
  bed::classify(photo, box(9.5, 9.5, 109.5, 109.5), flat_map(), {});
  CHECK(cv::norm(photo, before, cv::NORM_INF) == 0);
}

TEST_CASE("a wet film's glints and sheen do not turn granulation pale") {
  // Neutral light added in linear light (dichromatic reflection): stripes 0.6 mm wide, then the same over everything.
  const auto film = [](const cv::Mat& bgr, const auto& light) {
    cv::Mat out = bgr.clone();
    for (int y = 0; y < out.rows; ++y)
      for (int x = 0; x < out.cols; ++x)
        for (int c = 0; c < 3; ++c) {
          auto& v = out.at<cv::Vec3b>(y, x)[c];
          v = cv::saturate_cast<uchar>(255 * bed::srgb_from_linear(std::min(1.0, bed::linear_from_srgb(v / 255.0) + light(x))));
        }
    return out;
  };
  const auto map = flat_map();
  const auto outline = box(199.5, 599.5, 399.5, 799.5);
  auto as_version_1 = bed::default_thresholds();
  as_version_1.glint_mm = as_version_1.sheen = 0;
  const auto striped = film(cv::Mat(900, 1200, CV_8UC3, kRed), [](int x) { return x % 18 < 6 ? 0.25 : 0.0; });
  CHECK(bed::classify(striped, outline, map, {})[Tissue::granulation].share > 0.95);
  CHECK(bed::classify(striped, outline, map, {}, as_version_1)[Tissue::granulation].share < 0.8);
  const auto veiled = film(card_and_wound(), [](int) { return 0.05; });
  const auto got = bed::classify(veiled, outline, map, {});
  for (const auto t : {Tissue::granulation, Tissue::slough, Tissue::necrotic, Tissue::pale}) {
    INFO(bed::name(t));
    CHECK(got[t].share == Approx(0.25).margin(0.05));
  }
}

TEST_CASE("thresholds that version 1 stored are read as they were meant and tell the same tissue again") {
  // What the program wrote before glints were taken off.
  const auto* stored = R"({"version":1,"colours":[
    {"tissue":"granulation","lab":[38,48,30],"light":0.14,"spread":9,"weight":1},{"tissue":"granulation","lab":[24,40,26],"light":0.16,"spread":8,"weight":0.6},
    {"tissue":"granulation","lab":[47,31,24],"light":0.13,"spread":7,"weight":1},{"tissue":"granulation","lab":[54,23,25],"light":0.12,"spread":5,"weight":0.4},
    {"tissue":"slough","lab":[75,4,34],"light":0.1,"spread":8,"weight":0.7},{"tissue":"slough","lab":[82,2,22],"light":0.1,"spread":7,"weight":0.4},
    {"tissue":"slough","lab":[62,6,30],"light":0.12,"spread":5,"weight":0.1},{"tissue":"necrotic","lab":[18,5,6],"light":0.18,"spread":6,"weight":0.4},
    {"tissue":"necrotic","lab":[31,13,15],"light":0.14,"spread":7,"weight":0.4},{"tissue":"necrotic","lab":[12,1,1],"light":0.18,"spread":5,"weight":0.2},
    {"tissue":"necrotic","lab":[42,11,16],"light":0.1,"spread":6,"weight":0.4},{"tissue":"pale","lab":[71,24,13],"light":0.1,"spread":7,"weight":0.5},
    {"tissue":"pale","lab":[57,24,13],"light":0.12,"spread":5,"weight":0.22},{"tissue":"pale","lab":[83,12,7],"light":0.08,"spread":6,"weight":0.3}],
    "least_posterior":0.55,"gate":4.5,"neighbours":3,"seam_px":3,"median_px":5,
    "glare":{"seed_value":240,"seed_saturation":40,"seed_above":25,"grow_value":170,"grow_saturation":110,"grow_above":15,"most_share":0.02}})";
  const auto old = bed::thresholds_from_json(stored);
  REQUIRE(old);
  CHECK(old->glint_mm == 0);
  CHECK(old->sheen == 0);
  CHECK(old->colours.size() == 14);
  // Shares that version 1 gave for a bed whose right half is veiled: the veiled red was called pale.
  cv::Mat photo(300, 300, CV_8UC3, kRed);
  photo.colRange(150, 300).setTo(cv::Scalar(112, 112, 176));
  const auto got = bed::classify(photo, box(49.5, 49.5, 249.5, 249.5), flat_map(), {}, *old);
  CHECK(got[Tissue::granulation].share == Approx(0.5).margin(0.01));
  CHECK(got[Tissue::pale].share == Approx(0.5).margin(0.01));
  CHECK(bed::thresholds_from_json(got.options)->glint_mm == 0);
}

TEST_CASE("a thin pale ring of a dry wound is no glint, as it was for version 2, and stored thresholds of version 2 still say so") {
  // What the program wrote before glints had to tell of a film.
  const auto* stored = R"({"version":2,"colours":[
    {"tissue":"granulation","lab":[39.5,48.8,29.6],"light":0.132,"spread":13.5,"weight":0.84},{"tissue":"granulation","lab":[22.7,41.7,26.4],"light":0.16,"spread":7.3,"weight":0.439},
    {"tissue":"granulation","lab":[50.4,35,23.6],"light":0.089,"spread":4.29,"weight":0.857},{"tissue":"granulation","lab":[56.5,19.5,27.1],"light":0.072,"spread":3.12,"weight":0.624},
    {"tissue":"slough","lab":[76.7,2.7,37.6],"light":0.091,"spread":7.33,"weight":0.291},{"tissue":"slough","lab":[83.6,-0.7,21.8],"light":0.097,"spread":5.96,"weight":0.226},
    {"tissue":"slough","lab":[61.7,14.4,30.4],"light":0.1,"spread":4.01,"weight":0.217},{"tissue":"necrotic","lab":[18.2,5.3,6],"light":0.18,"spread":6.11,"weight":0.416},
    {"tissue":"necrotic","lab":[25.1,14.3,13.8],"light":0.1,"spread":5.29,"weight":0.936},{"tissue":"necrotic","lab":[12,1,1],"light":0.18,"spread":5,"weight":0.2},
    {"tissue":"necrotic","lab":[40.2,5,12.8],"light":0.081,"spread":5.28,"weight":1.63},{"tissue":"pale","lab":[72.2,22.8,15.4],"light":0.096,"spread":4.12,"weight":0.594},
    {"tissue":"pale","lab":[57.5,26.9,10.9],"light":0.116,"spread":5.69,"weight":0.085},{"tissue":"pale","lab":[84.4,12.2,5.7],"light":0.078,"spread":5.85,"weight":0.212}],
    "least_posterior":0.55,"gate":4.5,"neighbours":3,"seam_px":3,"median_px":5,"glint_mm":1,"sheen":0.03,
    "glare":{"seed_value":240,"seed_saturation":40,"seed_above":25,"grow_value":170,"grow_saturation":110,"grow_above":15,"most_share":0.02}})";
  const auto old = bed::thresholds_from_json(stored);
  REQUIRE(old);
  CHECK(old->film == 0);
  CHECK(old->sheen == Approx(0.03));
  // A line of pale 0.8 mm wide.
  cv::Mat photo(300, 300, CV_8UC3, kRed);
  photo.rowRange(146, 154).setTo(cv::Scalar(122, 130, 192));
  const cv::Mat before = photo.clone();
  const auto outline = box(49.5, 49.5, 249.5, 249.5);
  CHECK(bed::classify(photo, outline, flat_map(), {}, *old)[Tissue::pale].share < 0.01);
  CHECK(bed::classify(photo, outline, flat_map(), {})[Tissue::pale].share == Approx(0.04).margin(0.01));
  CHECK(bed::thresholds_from_json(bed::to_json(*old))->film == 0);
  // Teaching looks at the photo and leaves it as it was.
  bed::with_examples(bed::default_thresholds(), photo, {}, {{Tissue::pale, {150, 150}, 3}});
  CHECK(cv::norm(photo, before, cv::NORM_INF) == 0);
}

TEST_CASE("a wound of a few pixels, one colour or all glare, and clipped greys have an answer") {
  const auto map = flat_map();
  // Five pixels.
  const auto tiny = bed::classify(cv::Mat(100, 100, CV_8UC3, kRed), {{{{{49.6, 50}, {51, 48.9}, {52.4, 50}, {51, 51.1}}, {}}}}, map, {});
  CHECK(tiny[Tissue::granulation].share == Approx(1));
  // One colour that is no tissue at all, one that is.
  const auto blue = bed::classify(cv::Mat(300, 300, CV_8UC3, cv::Scalar(200, 80, 30)), box(49.5, 49.5, 249.5, 249.5), map, {});
  CHECK(blue[Tissue::unsure].share > 0.95);
  CHECK(std::any_of(blue.warnings.begin(), blue.warnings.end(), [](const auto& w) { return w.code == "bed-unsure"; }));
  CHECK(bed::classify(cv::Mat(300, 300, CV_8UC3, kYellow), box(49.5, 49.5, 249.5, 249.5), map, {})[Tissue::slough].share > 0.95);
  const auto black = bed::classify(cv::Mat(300, 300, CV_8UC3, cv::Scalar::all(0)), box(49.5, 49.5, 249.5, 249.5), map, {});
  CHECK(share_sum(black) == Approx(1));
  // All glare: no tissue is told, and it says what to do.
  const auto white = bed::classify(cv::Mat(300, 300, CV_8UC3, cv::Scalar::all(255)), box(49.5, 49.5, 249.5, 249.5), map, {});
  CHECK(white[Tissue::glare].share == Approx(1));
  CHECK(white[Tissue::granulation].share == 0);
  CHECK(white[Tissue::granulation].share_u > 0.2);
  CHECK(std::any_of(white.warnings.begin(), white.warnings.end(), [](const auto& w) { return w.code == "bed-glare"; }));
  // The lightest grey clipped by the exposure is left out, all clipped leave the colour uncorrected.
  const auto brighter = cast(card_and_wound(), {1.9, 1.9, 1.9});
  const auto two = bed::from_patches(brighter, map);
  CHECK(two.from == bed::WhiteBalance::From::patches);
  CHECK(two.gain[1] == Approx(1 / 1.9).epsilon(0.05));
  CHECK(bed::from_patches(cast(card_and_wound(), {12, 12, 12}), map).from == bed::WhiteBalance::From::none);
}
