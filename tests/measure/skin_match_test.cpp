#include <catch2/catch.hpp>

#include "skin_scenes.h"
#include "uroko/base/file.h"
#include "uroko/photo/photo.h"
#include "uroko/scale/lens.h"

using namespace uroko;
using namespace uroko::testing;

TEST_CASE("turning and moving in the plane can be joined and taken back") {
  const measure::SkinMotion a{0.7, {12, -5}}, b{-2.9, {-40, 3}};
  const PlanePoint p{17.25, -3.5};
  CHECK(distance(a.after(b)(p), a(b(p))) < 1e-12);
  CHECK(distance(a.inverse()(a(p)), p) < 1e-12);
  CHECK(distance(a.after(a.inverse())(p), p) < 1e-12);
  CHECK(measure::SkinMotion{M_PI / 2, {1, 2}}({3, 0}).y == Approx(5));
}

TEST_CASE("two visits are laid over each other by the skin, another camera, turn, light and a smaller wound notwithstanding") {
  // Truth: the same skin points through both photos' own maps. Measured over 21 pairs (bench_skin): shift 0.03 to 0.2 mm, turn up to 0.2 degrees.
  static const auto first = photographed(skin_view(0, 1), {0.9, 2, 90, 1}), later = photographed(skin_view(6, 0.3), {0.9, 2, 90, 2});
  REQUIRE(first);
  REQUIRE(later);
  static const auto a = first->pattern(), b = later->pattern();
  const auto match = measure::match_skin(*b, *a);
  REQUIRE(match);
  const auto e = skin_error(*later, *first, match->to_from);
  CHECK(e.shift_mm < 0.3);
  CHECK(e.turn_deg < 0.3);
  CHECK(e.margin_mm < 0.5);
  CHECK(match->inliers > 60);
  CHECK(match->sectors >= 6);
  CHECK(match->rms_mm < 0.3);
  CHECK(match->scale_ratio == Approx(1).margin(0.03));
  CHECK(match->u_shift_mm < 0.3);
  // The other way round is the same motion taken back, and asked again it is the same to the last digit.
  const auto back = measure::match_skin(*a, *b);
  REQUIRE(back);
  CHECK(distance(back->to_from(match->to_from(b->middle)), b->middle) < 0.3);
  CHECK(measure::match_skin(*b, *a)->to_from.shift_mm == match->to_from.shift_mm);

  SECTION("millimetres that differ by a fifth are refused") {
    auto wrong = *b;
    for (auto& p : wrong.points) p.at = {p.at.x * 1.2, p.at.y * 1.2}, p.size_mm *= 1.2;
    wrong.middle = {wrong.middle.x * 1.2, wrong.middle.y * 1.2};
    const auto no = measure::match_skin(wrong, *a);
    REQUIRE_FALSE(no);
    CHECK((no.refusal().code == "scale" || no.refusal().code == "no-match"));
  }
  SECTION("another fish with the same scales and the same ulcer is refused") {
    const auto stranger = photographed(skin_view(6, 0.3, 99), {0.9, 2, 90, 3});
    REQUIRE(stranger);
    const auto no = measure::match_skin(*stranger->pattern(), *a);
    REQUIRE_FALSE(no);
    CHECK(no.refusal().code == "no-match");
    CHECK_FALSE(no.refusal().advice.empty());
  }
  SECTION("of three visits the stranger in the middle stays where it is, and a photo that is missing too") {
    auto bare = std::make_shared<measure::SkinPattern>();
    const auto all = measure::align_visits({nullptr, a, bare, b});
    REQUIRE(all.size() == 4);
    CHECK_FALSE(all[0].to_first);
    REQUIRE(all[1].to_first);
    CHECK(all[1].to_first->turn == 0);
    CHECK_FALSE(all[2].to_first);
    REQUIRE(all[2].refusal);
    CHECK(all[2].refusal->code == "plain-skin");
    REQUIRE(all[3].to_first);
    CHECK(all[3].by == 1);
    CHECK(all[3].to_first->shift_mm == match->to_from.shift_mm);
  }
}

TEST_CASE("skin without a pattern is refused, and says so") {
  std::vector<std::shared_ptr<const measure::SkinPattern>> plain;
  for (const int nth : {0, 6}) {
    auto scene = skin_view(nth, 1);
    scene.detail = scenes::Detail::plain;
    const auto visit = photographed(scene, {0.9, 2, 90, static_cast<std::uint64_t>(nth + 1)});
    REQUIRE(visit);
    plain.push_back(visit->pattern());
    CHECK(plain.back()->points.size() < 120);
  }
  const auto no = measure::match_skin(*plain[1], *plain[0]);
  REQUIRE_FALSE(no);
  CHECK(no.refusal().code == "plain-skin");
  CHECK(no.refusal().text.find("too little pattern") != std::string::npos);
}

TEST_CASE("the sample case's first and last visit, four weeks apart, are laid over each other from their files") {
  const auto sample = scenes::sample_case();
  std::vector<measure::SkinPhoto> photos;
  std::vector<SkinVisit> visits;
  for (const std::size_t i : {std::size_t{0}, std::size_t{7}}) {
    const auto file = std::filesystem::path(UROKO_SOURCE "/sample_images") / sample.visits[i].file_name;
    const auto photo = photo::load(file);
    auto map = scale::find_card(photo.bgr, scale::camera_from_exif(photo.info));
    REQUIRE(map);
    visits.push_back({sample.visits[i].scene, {}, *map, scenes::truth_of(sample.visits[i].scene).outline});
    photos.push_back({file, std::make_shared<scale::PlaneMap>(*map), visits.back().outline});
  }
  photos.push_back({"/no/such/photo.jpg", photos[0].map, photos[0].outline});
  const auto patterns = measure::read_skins(photos);
  REQUIRE(patterns[0]);
  REQUIRE(patterns[1]);
  CHECK_FALSE(patterns[2]);
  const auto match = measure::match_skin(*patterns[1], *patterns[0]);
  REQUIRE(match);
  const auto e = skin_error(visits[1], visits[0], match->to_from);
  CHECK(e.shift_mm < 0.3);
  CHECK(e.turn_deg < 0.3);
  CHECK(match->inliers > 200);
}
