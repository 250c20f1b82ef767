// The curved flank: points of an elliptic cylinder put into the photo by hand (a parametric surface and a pinhole), then read back. Arc lengths are summed
// chords of the test's own.
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "uroko/scale/flank.h"

using namespace uroko;
using namespace uroko::scale;

namespace {

/// A card of 90 x 60 mm whose middle is 420 mm in front of the camera, turned and tilted a little; its longer side runs along the fish.
PlaneMap card_on_the_fish() {
  PlaneMap map;
  map.camera.fx = map.camera.fy = 3200;
  map.camera.cx = 1999.5, map.camera.cy = 1499.5;
  map.camera.k1 = -0.05;
  map.pose.emplace();
  const double turn = 0.3, tilt = 0.2;
  Eigen::Matrix3d about_z, about_x;
  about_z << std::cos(turn), -std::sin(turn), 0, std::sin(turn), std::cos(turn), 0, 0, 0, 1;
  about_x << 1, 0, 0, 0, std::cos(tilt), -std::sin(tilt), 0, std::sin(tilt), std::cos(tilt);
  map.pose->rotation = about_x * about_z;
  map.pose->translation_mm = Eigen::Vector3d(-30, -20, 420);
  map.reference_mm = {{0, 0}, {90, 0}, {90, 60}, {0, 60}};
  return map;
}

/// The body itself: half-height b across the fish, half-width a towards the camera; the card touches it at `contact`.
struct Body {
  PlaneMap map = card_on_the_fish();
  double b = 80, a = 52, contact = 0.25;

  Eigen::Vector2d on_ellipse(double t) const { return {b * std::sin(t), a * (1 - std::cos(t))}; }
  /// The skin at eccentric angle t, `along` mm towards the tail, in camera axes.
  Eigen::Vector3d skin(double along, double t) const {
    const auto& r = map.pose->rotation;
    const Eigen::Vector3d middle = r * Eigen::Vector3d(45, 30, 0) + map.pose->translation_mm;
    // The tangent at the contact lies in the card's plane.
    const Eigen::Vector2d tangent = Eigen::Vector2d(b * std::cos(contact), a * std::sin(contact)).normalized(), inward(-tangent.y(), tangent.x());
    const Eigen::Vector2d from_contact = on_ellipse(t) - on_ellipse(contact);
    return middle + along * r.col(0) + from_contact.dot(tangent) * r.col(1) + from_contact.dot(inward) * r.col(2);
  }
  ImagePoint seen(double along, double t) const {
    const Eigen::Vector3d p = skin(along, t);
    return map.camera.distorted({map.camera.fx * p.x() / p.z() + map.camera.cx, map.camera.fy * p.y() / p.z() + map.camera.cy});
  }
  double arc(double t) const {
    double sum = 0;
    constexpr int kSteps = 20000;
    for (int i = 0; i < kSteps; ++i) sum += (on_ellipse(t * (i + 1) / kSteps) - on_ellipse(t * i / kSteps)).norm();
    return t < 0 ? -sum : sum;
  }
  /// Between the line of sight and the skin's normal, from two small steps on the skin.
  double incidence(double along, double t) const {
    const Eigen::Vector3d p = skin(along, t), across = skin(along, t + 1e-5) - p, down = skin(along + 1e-3, t) - p;
    return std::acos(std::abs(across.cross(down).normalized().dot(p.normalized())));
  }
  FlankSetup setup() const {
    FlankSetup s;
    s.depth_mm = 2 * b, s.width_mm = 2 * a;
    return s;
  }
};

void check_everywhere(const Flank& flank, const Body& body) {
  for (const double along : {-60.0, 0.0, 35.0})
    for (const double t : {-0.7, -0.2, 0.0, 0.25, 0.6, 0.9}) {
      INFO(along << " mm along, " << t << " rad");
      const auto spot = flank(body.seen(along, t));
      REQUIRE(spot);
      CHECK(spot->unrolled.x == Approx(along).margin(1e-3));
      CHECK(spot->unrolled.y == Approx(body.arc(t)).margin(1e-3));
      CHECK(spot->angle == Approx(t).margin(1e-5));
      CHECK(spot->incidence == Approx(body.incidence(along, t)).margin(1e-3));
    }
}

}  // namespace

TEST_CASE("a body whose contact with the card is known is unrolled to the micrometre, wider than deep too") {
  Body body;
  auto setup = body.setup();
  setup.contact_angle = body.contact;
  const auto flank = Flank::fit(body.map, setup);
  REQUIRE(flank);
  check_everywhere(*flank, body);
  body.b = 50, body.a = 70;
  setup = body.setup();
  setup.contact_angle = body.contact;
  const auto wide = Flank::fit(body.map, setup);
  REQUIRE(wide);
  check_everywhere(*wide, body);
}

TEST_CASE("the midline in the photo tells where the card touches, picked either way round") {
  const Body body;
  auto setup = body.setup();
  const auto head = body.seen(-100, 0), tail = body.seen(100, 0);
  for (const auto& midline : {std::pair(head, tail), std::pair(tail, head)}) {
    setup.midline = midline;
    const auto flank = Flank::fit(body.map, setup);
    REQUIRE(flank);
    CHECK(flank->contact_angle() == Approx(body.contact).margin(1e-4));
    check_everywhere(*flank, body);
  }
  // Picked 5 mm too high on the body, and known to be: the same.
  const double high = std::asin(-5 / body.b);
  setup.midline = {body.seen(-100, high), body.seen(100, high)};
  setup.midline_shift_mm = 5;
  const auto shifted = Flank::fit(body.map, setup);
  REQUIRE(shifted);
  CHECK(shifted->contact_angle() == Approx(body.contact).margin(1e-4));
}

TEST_CASE("an axis that is turned in the card's plane turns the unrolled skin with it") {
  Body body;
  auto setup = body.setup();
  setup.contact_angle = body.contact;
  setup.axis_turn = 0.1;
  const auto flank = Flank::fit(body.map, setup);
  REQUIRE(flank);
  // The card's middle is where both touch; a step along the turned axis keeps its height on the body.
  const auto& r = body.map.pose->rotation;
  const Eigen::Vector3d p = body.skin(0, body.contact) + 40 * (std::cos(0.1) * r.col(0) + std::sin(0.1) * r.col(1));
  const auto spot = (*flank)(body.map.camera.distorted({body.map.camera.fx * p.x() / p.z() + body.map.camera.cx, body.map.camera.fy * p.y() / p.z() + body.map.camera.cy}));
  REQUIRE(spot);
  CHECK(spot->unrolled.x == Approx(40).margin(1e-3));
  CHECK(spot->angle == Approx(body.contact).margin(1e-5));
}

TEST_CASE("a line of sight past the body meets nothing") {
  Body body;
  auto setup = body.setup();
  setup.contact_angle = body.contact;
  const auto flank = Flank::fit(body.map, setup);
  REQUIRE(flank);
  CHECK((*flank)(body.seen(0, 0.5)));
  CHECK_FALSE((*flank)({0, 0}));
  CHECK_FALSE((*flank)({3999, 2999}));
}

TEST_CASE("a body that cannot be is refused in words: no size, no camera, no line, a midline that no such body shows") {
  const Body body;
  const auto refused = [&](const PlaneMap& map, const FlankSetup& setup, const std::string& says) {
    const auto flank = Flank::fit(map, setup);
    REQUIRE_FALSE(flank);
    CHECK(flank.refusal().code == "body");
    CHECK(flank.refusal().text.find(says) != std::string::npos);
    CHECK_FALSE(flank.refusal().advice.empty());
  };
  auto setup = body.setup();
  setup.depth_mm = 0;
  refused(body.map, setup, "must be positive");
  setup.depth_mm = std::numeric_limits<double>::infinity();
  refused(body.map, setup, "must be positive");
  auto ruler = body.map;
  ruler.pose.reset();
  refused(ruler, body.setup(), "camera's place is not known");
  setup = body.setup();
  setup.midline = {{100, 100}, {100, 100}};
  refused(body.map, setup, "two points are the same");
  setup.midline = {{-20000, -90000}, {20000, -90000}};  // far above everything
  refused(body.map, setup, "160 x 104 mm");
}

TEST_CASE("sites on the body have a skin radius where one is known") {
  for (const auto& [site, radius] : {std::pair{"left flank", 130}, std::pair{"Side, behind the gill", 130}, std::pair{"back", 21}, std::pair{"dorsal fin's base", 21}, std::pair{"belly", 21}, std::pair{"ventral", 21}, std::pair{"Abdomen", 21}}) {
    INFO(site);
    CHECK(skin_radius_mm(site) == radius);
  }
  CHECK_FALSE(skin_radius_mm("tail"));
  CHECK_FALSE(skin_radius_mm(""));
}

TEST_CASE("what a flat reading loses on a curved skin is the integral over the round wound") {
  // A round wound of diameter w on a cylinder of radius r that the reference touches at its middle, seen from Z: where the skin lies lower it is seen smaller and aslant.
  const double w = 40, r = 130, z = 350;
  double flat = 0, skin = 0;
  constexpr int kSteps = 4000;
  for (int i = 0; i < kSteps; ++i) {
    const double u = w * ((i + 0.5) / kSteps - 0.5), du = w / kSteps;
    const auto reading = [&](double at) { return r * std::sin(at / r) * z / (z + r * (1 - std::cos(at / r))); };
    const double chord = 2 * std::sqrt(w * w / 4 - u * u), smaller = z / (z + r * (1 - std::cos(u / r)));
    skin += chord * du;
    flat += chord * smaller * (reading(u + du / 2) - reading(u - du / 2));
  }
  CHECK(skin == Approx(std::numbers::pi * w * w / 4).epsilon(1e-4));
  CHECK(flat_under_reading(w, r, z) == Approx(1 - flat / skin).epsilon(0.02));  // second order in w / r
}
