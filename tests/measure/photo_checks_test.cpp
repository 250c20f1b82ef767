#include <opencv2/imgproc.hpp>

#include "square_on.h"
#include "uroko/scale/references.h"
#include "uroko/scenes/scene.h"

using namespace uroko;
using namespace uroko::testing;

namespace {

scenes::Scene small_scene() {
  scenes::Scene scene;
  scene.view.camera = scenes::pinhole(1300, 800, 1500);
  scene.view.width_px = 1300;
  scene.view.height_px = 800;
  scene.view.aim = {-20, 0};
  scene.view.distance_mm = 230;
  scene.card->centre = {-50, 0};
  scene.ulcer = scenes::irregular_ulcer({33, 0}, 10, 0.08, 6);
  scene.light.glare = 0;
  return scene;
}

bool has(const std::vector<Warning>& warnings, const std::string& code) {
  return std::any_of(warnings.begin(), warnings.end(), [&](const auto& w) { return w.code == code; });
}

}  // namespace

TEST_CASE("a blurred photo and highlights over the margin are told, a sharp dry one is not") {
  const auto scene = small_scene();
  margin::Margin margin;
  margin.outline = scenes::truth_of(scene).outline;
  const auto sharp = scenes::render(scene, {0.8, 2, 0, 1});
  const auto map = scale::find_card(sharp, scene.view.camera);
  REQUIRE(map);
  CHECK(measure::photo_warnings(sharp, *map, margin).empty());

  cv::Mat shaken;
  cv::GaussianBlur(sharp, shaken, {}, 5);
  CHECK(has(measure::photo_warnings(shaken, *map, margin), "blur"));

  cv::Mat wet = sharp.clone();
  const auto& ring = margin.outline.parts[0].outer;
  for (std::size_t i = 0; i < ring.size() / 4; i += 5)
    cv::circle(wet, {static_cast<int>(ring[i].x), static_cast<int>(ring[i].y)}, 9, cv::Scalar(255, 255, 255), -1);
  const auto warnings = measure::photo_warnings(wet, *map, margin);
  CHECK(has(warnings, "glare"));
  CHECK_FALSE(has(warnings, "blur"));
}
