#include "uroko/scenes/sample_case.h"

#include <cmath>

#include "uroko/base/text.h"

namespace uroko::scenes {

namespace {

constexpr int kWidth = 3000, kHeight = 2250;

struct Look {
  const char* taken;
  double water_c, area_mm2, slough, necrotic, pale, rim;
  // The photo: distance, tilt, its azimuth, roll; aim; card's place and turn; light.
  double distance, tilt, azimuth, roll, aim_x, aim_s, card_x, card_s, card_turn;
  std::array<double, 3> cast;
  double exposure;
  Eigen::Vector3d lamp;
};

}  // namespace

SampleCase sample_case() {
  SampleCase out;
  out.fish = "Botan";
  out.variety = "Showa";
  out.wound = "left flank";
  out.site = "flank";
  out.camera_make = "Mizube";
  out.camera_model = "Mizube M3";
  out.length_mm = 520;
  out.focal_mm = 5.8;
  out.focal35_mm = 35;

  const Look looks[] = {
      {"2026-03-02T10:14:00", 18.5, 462, .42, .10, .04, .75, 235, 9, 200, 2, -26, 8, -62, 12, 2, {1.02, 1.0, .95}, 1.00, {-.45, -.6, -1}},
      {"2026-03-05T11:02:00", 18.0, 538, .06, .00, .02, .80, 250, 14, 70, -4, -24, 6, -62, 8, -3, {1.05, 1.0, .88}, .97, {-.3, -.7, -1}},
      {"2026-03-09T09:41:00", 17.0, 470, .18, .02, .06, .60, 220, 6, 310, 5, -27, 10, -61, 14, 6, {.97, 1.0, 1.05}, 1.03, {-.6, -.4, -1}},
      {"2026-03-13T10:25:00", 9.5, 458, .24, .03, .07, .55, 268, 18, 120, -7, -25, 5, -64, 9, -5, {.95, 1.0, 1.08}, .90, {-.2, -.8, -1}},
      {"2026-03-17T10:08:00", 10.0, 452, .26, .03, .09, .52, 232, 11, 20, 3, -22, 11, -60, 15, 1, {1.0, 1.0, 1.0}, 1.02, {-.5, -.5, -1}},
      {"2026-03-21T09:55:00", 17.5, 362, .14, .01, .16, .42, 245, 21, 250, 9, -26, 8, -61, 10, 9, {1.06, 1.0, .90}, .98, {-.4, -.7, -1}},
      {"2026-03-26T11:20:00", 19.0, 248, .08, .00, .24, .35, 215, 8, 160, -2, -28, 9, -59, 13, -2, {1.0, 1.0, .97}, 1.05, {-.55, -.35, -1}},
      {"2026-04-01T10:31:00", 19.5, 136, .04, .00, .36, .28, 226, 13, 90, 4, -27, 7, -60, 11, 4, {.98, 1.0, 1.04}, 1.00, {-.35, -.6, -1}},
  };
  const Ulcer first = irregular_ulcer({21, 9}, 12, 0.115, 23);
  // f (35 mm equivalent) relates the diagonal to 43.27 mm.
  const double focal_px = out.focal35_mm * std::hypot(kWidth, kHeight) / 43.27;
  int n = 0;
  for (const auto& look : looks) {
    ++n;
    SampleVisit visit;
    visit.taken = *DateTime::parse(look.taken);
    visit.taken.utc_offset_min = 60;
    visit.water_c = look.water_c;
    visit.file_name = "botan-left-flank-" + visit.taken.iso_date() + ".jpg";

    Scene& scene = visit.scene;
    scene.flank = Flank{180, 118};
    scene.coat.seed = 17;
    scene.coat.red = 0.34;
    scene.coat.black = 0.10;
    Ulcer ulcer = first;
    // The margin rounds off as it closes; debridement cuts it rounder too.
    const double round = n == 2 ? 0.75 : std::min(1.0, 0.55 + 0.45 * look.area_mm2 / 462);
    for (auto& h : ulcer.harmonics) h.amplitude *= h.k > 3 ? round * round : round;
    ulcer.elongation = 1.25;
    ulcer.turn_deg = 12;
    ulcer.radius_mm = 1;
    ulcer.radius_mm = std::sqrt(look.area_mm2 / scenes::area_mm2(ulcer));
    ulcer.slough = look.slough;
    ulcer.necrotic = look.necrotic;
    ulcer.pale = look.pale;
    ulcer.rim_strength = look.rim;
    ulcer.rim_mm = 4.5;
    ulcer.depth_mm = 0.5 + 0.9 * look.area_mm2 / 538;
    scene.ulcer = ulcer;

    CardPlacement card;
    card.centre = {look.card_x, look.card_s};
    card.turn_deg = look.card_turn;
    scene.card = card;

    scene.light.cast_rgb = look.cast;
    scene.light.exposure = look.exposure;
    scene.light.towards = look.lamp;
    scene.light.ambient = 0.42;

    scene.view.width_px = kWidth;
    scene.view.height_px = kHeight;
    scene.view.camera = pinhole(kWidth, kHeight, focal_px, -0.012, 0.004);
    scene.view.aim = {look.aim_x, look.aim_s};
    scene.view.distance_mm = look.distance;
    scene.view.tilt_deg = look.tilt;
    scene.view.azimuth_deg = look.azimuth;
    scene.view.roll_deg = look.roll;

    visit.noise = {0.9, 1.6, 0, static_cast<std::uint64_t>(n)};
    out.visits.push_back(std::move(visit));
  }

  const auto log = [&](const char* date, const char* event, const char* note, double water) {
    out.log.push_back({*DateTime::parse(date), event, note, water});
  };
  log("2026-03-02", "sedation", "looked over, weighed", 18.5);
  log("2026-03-02", "swab", "culture and sensitivity sent", 18.5);
  log("2026-03-02", "cleaning", "loose scales lifted off", 18.5);
  log("2026-03-02", "sealing", "", 18.5);
  log("2026-03-05", "debridement", "slough taken off to red tissue; photo after it", 18.0);
  log("2026-03-05", "injection", "as prescribed by the vet", 18.0);
  log("2026-03-05", "topical", "", 18.0);
  log("2026-03-05", "sealing", "", 18.0);
  log("2026-03-07", "", "", 17.5);
  log("2026-03-09", "sealing", "renewed", 17.0);
  log("2026-03-10", "", "heater failed, cold night", 11.0);
  log("2026-03-11", "", "", 9.0);
  log("2026-03-13", "cleaning", "", 9.5);
  log("2026-03-15", "", "", 9.0);
  log("2026-03-17", "water change", "heater working again", 10.0);
  log("2026-03-18", "", "", 14.5);
  log("2026-03-19", "", "", 17.0);
  log("2026-03-21", "topical", "", 17.5);
  log("2026-03-21", "sealing", "", 17.5);
  log("2026-03-26", "topical", "", 19.0);
  log("2026-03-29", "", "", 19.0);
  log("2026-04-01", "topical", "", 19.5);
  return out;
}

ImageOutline rough_loop(const ImageOutline& margin) {
  const auto middle = centroid(margin);
  const auto& ring = margin.parts.at(0).outer;
  const double away = 0.25 * std::sqrt(area(margin) / M_PI);
  Ring<ImagePoint> loop;
  constexpr int kPoints = 14;
  for (int i = 0; i < kPoints; ++i) {
    const double angle = 2 * M_PI * i / kPoints;
    double reach = 0;
    for (const auto& p : ring) {
      const double turn = std::remainder(std::atan2(p.y - middle.y, p.x - middle.x) - angle, 2 * M_PI);
      if (std::abs(turn) < M_PI / kPoints) reach = std::max(reach, distance(p, middle));
    }
    // A hand is not a compass: the distance wavers by a fifth.
    reach += away * (1 + 0.2 * std::sin(3 * angle + 1));
    loop.push_back({middle.x + reach * std::cos(angle), middle.y + reach * std::sin(angle)});
  }
  return {{{loop, {}}}};
}

}  // namespace uroko::scenes
