// Is each warning raised where it should be, and silent where it should not? Rendered photos of nine situations, eight of them with one fault.
//   bench_warnings [N]    N photos a situation (40); prints the table of assets/guide/accuracy.md
#include <fmt/format.h>

#include <cmath>
#include <cstdlib>
#include <map>
#include <opencv2/imgproc.hpp>
#include <set>
#include <string>
#include <vector>

#include "uroko/base/random.h"
#include "uroko/measure/measure.h"
#include "uroko/scale/references.h"
#include "uroko/scenes/scene.h"

using namespace uroko;

namespace {

constexpr int kWidth = 1400, kHeight = 1050;

struct Situation {
  const char* name;
  const char* expected;  ///< the warning's code; "" for a good photo
  double tilt_from = 0, tilt_to = 25, away_mm = 0, distance = 1, blur_from = 0.5, blur_to = 1.3;
  bool glare = false;
  const char* site = "";
  double diameter_from = 8, diameter_to = 35;
  double second_error = 0;  ///< of a second photo's margin, share of the area
};

const std::vector<Situation> kSituations = {
    {"a good photo", ""},
    {"camera 38-48 degrees from square", "tilt", 38, 48},
    {"card 110-140 mm from the wound's edge", "far-reference", 0, 15, 110},
    {"camera four times as far away", "small-reference", 0, 15, 0, 4},
    {"edge spread over 4-6 px (standard deviation)", "blur", 0, 15, 0, 1, 4, 6},
    {"a highlight over the margin", "glare", 0, 15, 0, 1, 0.5, 1.3, true},
    {"wound of 15-30 mm on the back, no body given", "curvature", 0, 15, 0, 1, 0.5, 1.3, false, "back", 15, 30},
    {"second photo's margin 25 % off", "disagreement", 0, 15, 0, 1, 0.5, 1.3, false, "", 10, 35, 0.25},
    {"second photo's margin right", "", 0, 15, 0, 1, 0.5, 1.3, false, "", 10, 35, -1},
};

/// The codes raised; nothing where the drawn scene does not fit the frame or the card is not found.
std::optional<std::set<std::string>> run(const Situation& s, Random& random) {
  scenes::Scene scene;
  const double diameter = random.uniform(s.diameter_from, s.diameter_to), focal = 1500;
  scene.coat.seed = random.bits();
  scene.light.uneven = random.uniform(0, 0.2);
  scene.light.glare = random.uniform(0, 0.3);
  scene.ulcer = scenes::irregular_ulcer({0, 0}, diameter / 2, random.uniform(0.04, 0.14), random.bits());
  scene.card->centre = {-(0.75 * diameter + 68 + s.away_mm * random.uniform(1, 1.27)), random.uniform(-10, 10)};
  scene.card->turn_deg = random.uniform(-20, 20);
  auto& view = scene.view;
  view.width_px = kWidth, view.height_px = kHeight;
  view.camera = scenes::pinhole(kWidth, kHeight, focal, random.uniform(-0.03, 0.03));
  view.tilt_deg = random.uniform(s.tilt_from, s.tilt_to);
  view.azimuth_deg = random.uniform(0, 360);
  view.roll_deg = random.uniform(-20, 20);
  view.aim = {scene.card->centre.x * 0.55, scene.card->centre.s * 0.5};
  view.distance_mm = s.distance * (s.away_mm > 0 ? 420 : random.uniform(290, 340));
  scenes::Truth truth;
  try {
    truth = scenes::truth_of(scene);
  } catch (const std::invalid_argument&) { return std::nullopt; }
  const cv::Rect frame(4, 4, kWidth - 8, kHeight - 8);
  for (const auto& p : truth.card_corners)
    if (!frame.contains(cv::Point(static_cast<int>(p.x), static_cast<int>(p.y)))) return std::nullopt;
  cv::Mat photo = scenes::render(scene, {random.uniform(s.blur_from, s.blur_to), random.uniform(1, 4), 92, random.bits()});
  if (s.glare) {
    // A lamp in the wet skin: over a good part of the margin.
    const auto& ring = truth.outline.parts[0].outer;
    const auto& at = ring[static_cast<std::size_t>(random.uniform() * static_cast<double>(ring.size() - 1))];
    const double size = 0.2 * std::sqrt(area(truth.outline));
    cv::Mat light(photo.size(), CV_8UC3, cv::Scalar::all(0));
    cv::circle(light, {static_cast<int>(at.x), static_cast<int>(at.y)}, static_cast<int>(size), cv::Scalar::all(255), cv::FILLED);
    cv::GaussianBlur(light, light, {}, size / 6);
    photo += light;
  }
  auto camera = view.camera;
  camera.from = scale::Camera::From::exif;
  const auto map = scale::find_card(photo, camera);
  if (!map) return std::nullopt;
  measure::MeasureOptions options;
  options.site = s.site;
  const auto m = margin::given(photo, truth.outline);
  const auto got = measure::measure(*map, m, options);
  if (!got) return std::nullopt;
  std::set<std::string> codes;
  for (const auto& w : got->warnings) codes.insert(w.code);
  for (const auto& w : measure::photo_warnings(photo, *map, m)) codes.insert(w.code);
  if (s.second_error != 0) {
    const double grow = s.second_error > 0 ? std::sqrt(1 + s.second_error) : 1;
    const auto middle = centroid(truth.outline);
    auto other = m;
    other.outline = mapped<ImagePoint, ImagePoint>(
        m.outline, [&](const ImagePoint& p) { return ImagePoint{middle.x + grow * (p.x - middle.x), middle.y + grow * (p.y - middle.y)}; });
    const auto second = measure::measure(*map, other, options);
    if (!second) return std::nullopt;
    for (const auto& w : measure::combined({*got, *second}).warnings) codes.insert(w.code);
  }
  return codes;
}

}  // namespace

int main(int argc, char** argv) {
  const int photos = argc > 1 ? std::atoi(argv[1]) : 40;
  if (photos < 1) {
    fmt::print(stderr, "usage: bench_warnings [N]\n");
    return 2;
  }
  fmt::print("| situation | photos | the warning it should raise, % of photos | other warnings, % of photos |\n| --- | --- | --- | --- |\n");
  std::uint64_t seed = 0;
  for (const auto& s : kSituations) {
    ++seed;
    std::map<std::string, int> count;
    int n = 0;
    Random random(7919 * seed);
    for (int attempt = 0; n < photos && attempt < 20 * photos; ++attempt)
      if (const auto codes = run(s, random)) {
        ++n;
        for (const auto& code : *codes) ++count[code];
      }
    const std::string expected = s.expected;
    std::string others;
    for (const auto& [code, k] : count)
      if (code != expected) others += fmt::format("{}{} {:.0f}", others.empty() ? "" : ", ", code, 100.0 * k / std::max(1, n));
    fmt::print("| {} | {} | {} | {} |\n", s.name, n, expected.empty() ? "none" : fmt::format("{} {:.0f}", expected, 100.0 * count[expected] / std::max(1, n)),
               others.empty() ? "none" : others);
    std::fflush(stdout);
  }
}
