// Rendered koi ulcers in strata that are hard in one way each.
#pragma once
#include "bench/margin_eval.h"
#include "uroko/scenes/scene.h"

namespace uroko::eval {

inline const std::vector<std::string>& koi_strata() {
  static const std::vector<std::string> strata{"usual", "pattern", "scales", "reddened rim", "weak pale", "glare", "shading", "small", "blurred", "black skin"};
  return strata;
}

struct KoiScene {
  scenes::Scene scene;
  scenes::Noise noise;
};

/// The `n`-th scene of a stratum.
inline KoiScene koi_scene(const std::string& stratum, int n) {
  Random random(1000 + 37 * static_cast<std::uint64_t>(n) + 7919 * std::hash<std::string>{}(stratum) % 100000);
  scenes::Scene scene;
  scenes::Noise noise;
  auto ulcer =
      scenes::irregular_ulcer({random.uniform(-20, 20), random.uniform(-15, 15)}, random.uniform(7, 14), random.uniform(0.06, 0.14), random.bits());
  ulcer.elongation = random.uniform(1, 1.7);
  ulcer.turn_deg = random.uniform(0, 180);
  ulcer.slough = random.uniform(0.1, 0.5);
  ulcer.necrotic = random.uniform(0, 0.12);
  ulcer.pale = random.uniform(0.05, 0.2);
  ulcer.seed = random.bits();
  scene.coat.seed = random.bits();
  scene.view.width_px = 1000;
  scene.view.height_px = 750;
  scene.view.camera = scenes::pinhole(1000, 750, 1400);
  scene.view.aim = ulcer.centre;
  scene.view.distance_mm = random.uniform(130, 190) * ulcer.radius_mm / 10;
  scene.view.tilt_deg = random.uniform(0, 25);
  scene.view.azimuth_deg = random.uniform(0, 360);
  scene.view.roll_deg = random.uniform(-30, 30);
  noise.seed = random.bits();
  if (stratum == "pattern") scene.coat.red = 0.5, scene.coat.black = 0.25;
  if (stratum == "scales") scene.coat.scale_pitch_mm = 6, scene.light.ambient = 0.3, scene.light.towards = {-1, -0.8, -0.6};
  if (stratum == "reddened rim") ulcer.rim_strength = 1, ulcer.rim_mm = 8;
  if (stratum == "weak pale") ulcer.pale = 0.6, ulcer.slough = 0.2, ulcer.necrotic = 0, ulcer.depth_mm = 0.4, ulcer.rim_strength = 0.3;
  if (stratum == "glare") scene.light.glare = 3;
  if (stratum == "shading") scene.light.uneven = 0.5, scene.light.ambient = 0.25;
  if (stratum == "small") scene.view.distance_mm *= 4;
  if (stratum == "blurred") noise.blur_px = 3;
  if (stratum == "black skin") scene.coat.red = 0, scene.coat.black = 1, ulcer.pale = 0.5, ulcer.slough = 0.4, ulcer.necrotic = 0;
  scene.ulcer = ulcer;
  scene.card.reset();
  return {scene, noise};
}

inline Case koi_case(const std::string& stratum, int n) {
  const auto [scene, noise] = koi_scene(stratum, n);
  Case c;
  c.stratum = stratum;
  const auto bgr = scenes::render(scene, noise);
  make_case(c, stratum + " " + std::to_string(n), bgr, mask_of(scenes::truth_of(scene).outline, bgr.size()));
  return c;
}

/// The same scene with a second wound beside the first: half to nine tenths its radius, the gap between them 0.3 to 0.8 of it. Rendered one by one, each
/// pixel from the render of the nearer wound. `truth` holds both.
inline Case koi_pair(const std::string& stratum, int n) {
  auto [scene, noise] = koi_scene(stratum, n);
  Random random(500 + static_cast<std::uint64_t>(n));
  const auto first = *scene.ulcer;
  auto second = scenes::irregular_ulcer(first.centre, first.radius_mm * random.uniform(0.5, 0.9), 0.1, random.bits());
  second.slough = first.slough, second.necrotic = first.necrotic, second.pale = first.pale, second.rim_mm = first.rim_mm, second.rim_strength = first.rim_strength;
  second.depth_mm = first.depth_mm, second.seed = random.bits();
  const double turn = random.uniform(0, 2 * CV_PI), gap = random.uniform(0.3, 0.8) * first.radius_mm;
  const auto reach = [&](const scenes::Ulcer& u, double t) {
    double most = 0;
    for (const auto& p : scenes::margin(u)) most = std::max(most, (p.x - u.centre.x) * std::cos(t) + (p.s - u.centre.s) * std::sin(t));
    return most;
  };
  const double apart = reach(first, turn) + reach(second, turn + CV_PI) + gap;
  second.centre = {first.centre.x + apart * std::cos(turn), first.centre.s + apart * std::sin(turn)};
  scene.view.aim = {first.centre.x + 0.5 * apart * std::cos(turn), first.centre.s + 0.5 * apart * std::sin(turn)};
  scene.view.distance_mm *= 1.8;
  Case c;
  c.stratum = stratum;
  c.name = stratum + " pair " + std::to_string(n);
  cv::Mat masks[2], away[2], photos[2];
  for (int k = 0; k < 2; ++k) {
    scene.ulcer = k ? second : first;
    photos[k] = scenes::render(scene, noise);
    masks[k] = mask_of(scenes::truth_of(scene).outline, photos[k].size());
    cv::distanceTransform(~masks[k], away[k], cv::DIST_L2, 5);
  }
  photos[1].copyTo(photos[0], away[1] < away[0]);
  c.bgr = photos[0];
  c.truth = masks[0] | masks[1];
  c.radius = std::sqrt(cv::countNonZero(c.truth) / CV_PI);
  return c;
}

}  // namespace uroko::eval
