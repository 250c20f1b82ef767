// ctest: --short
// How true the area and its 95 % interval are: Monte-Carlo over rendered scenes.
//   bench_accuracy                the table of assets/guide/accuracy.md
//   bench_accuracy --short        fewer scenes, wider limits: fails when the product has lost its accuracy
//   bench_accuracy N [STRATUM [TRIALS.csv]]    N rendered scenes a stratum (of those whose name holds STRATUM; "": all), each trial to a file
// Every trial draws a scene, renders the card's part of the photo, finds the card in it and measures. Each of the errors that the budget
// allows for is drawn from its own allowance, and from nothing wider. "exact" gives the true outline; "traced" shifts its edge by a common
// error and by an independent one, as strong as the margin says of itself; and by the same errors the other way, so that what is left of the mean
// is the second order's and not chance. "scatter / u": root mean square of error / stated standard uncertainty, 1 where the budget is right.
#include <fmt/format.h>

#include <array>
#include <atomic>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <map>
#include <mutex>
#include <set>
#include <string>
#include <thread>
#include <vector>

#include "uroko/base/random.h"
#include "uroko/measure/measure.h"
#include "uroko/scale/card.h"
#include "uroko/scale/references.h"
#include "uroko/scenes/scene.h"

using namespace uroko;

namespace {

struct Stratum {
  const char* name;
  double tilt_from, tilt_to;
  double diameter_from = 5, diameter_to = 40;
  bool lens_known = true;
  bool allowances = false;        ///< plane offset, plane tilt and print size drawn
  bool wedge = false;             ///< plane tilt too
  double u_from = -1, u_to = -1;  ///< on a flank: offset / half-height
  double rms_limit = 1;           ///< per cent, of exact outlines
  bool midline = true;            ///< on a flank: the lateral midline is picked; else axis and contact are what the allowances say
};

const std::vector<Stratum> kStrata = {
    {"level, tilt 0-10", 0, 10, 5, 40, true, false, false, -1, -1, 0.5},
    {"level, tilt 10-20", 10, 20, 5, 40, true, false, false, -1, -1, 0.5},
    {"level, tilt 20-30", 20, 30, 5, 40, true, false, false, -1, -1, 0.5},
    {"level, tilt 30-40", 30, 40, 5, 40, true, false, false, -1, -1, 1.0},
    {"level, small, 5-10 mm", 0, 30, 5, 10, true, false, false, -1, -1, 0.5},
    {"level, no lens profile", 0, 30, 5, 40, false, false, false, -1, -1, 0.5},
    {"offset and print, tilt 0-30", 0, 30, 5, 40, true, true, false, -1, -1, 1.0},
    {"offset, print and lean, tilt 0-30", 0, 30, 5, 40, true, true, true, -1, -1, 2.0},
    {"offset, print and lean, tilt 30-40", 30, 40, 5, 40, true, true, true, -1, -1, 3.0},
    {"flank, u 0-0.25", 0, 15, 5, 40, true, false, false, 0, 0.25, 3.0},
    {"flank, u 0.25-0.5", 0, 15, 5, 40, true, false, false, 0.25, 0.5, 3.0},
    {"flank, no midline", 0, 15, 5, 40, true, false, false, 0, 0, 6.0, false},
};

struct Reading {
  double error = 0, root_error = 0, u = 0;  ///< shares of the true area; of its root, twice
  bool holds = false;
  Reading() = default;
  Reading(const measure::Measurement& m, double truth)
      : error(m.area_mm2.value / truth - 1), root_error(2 * (std::sqrt(m.area_mm2.value / truth) - 1)), u(m.area_mm2.u / truth),
        holds(m.area_mm2.low95 <= truth && truth <= m.area_mm2.high95) {}
};

struct Trial {
  Reading exact, traced, mirrored;
  double truth_mm2 = 0, tilt_deg = 0;
  std::map<std::string, double> budget;  ///< of the traced outline, shares of the true area
  std::set<std::string> warnings;
};

constexpr int kWidth = 2000, kHeight = 1500;
constexpr const char* kSources[] = {"scale", "print", "plane offset", "plane tilt", "lens", "curvature", "margin shift", "margin noise"};

/// The margin as a person traces it: every point moved along the edge's normal, together and each on its own.
/// The second outline has the same errors the other way.
std::array<ImageOutline, 2> traced(const ImageOutline& truth, const margin::Margin& says, Random& random) {
  const auto& ring = truth.parts[0].outer;
  const std::size_t n = ring.size();
  const double length = perimeter(truth), common = random.normal(0, says.common_px);
  // Independent over a correlation length: knots that far apart, blended by weights of constant power.
  const auto knots = std::max<std::size_t>(4, static_cast<std::size_t>(std::lround(length / says.correlation_px)));
  std::vector<double> at(knots);
  for (auto& k : at) k = random.normal(0, says.doubt_px.at(0));
  std::array<ImageOutline, 2> out{truth, truth};
  double along = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const auto &before = ring[(i + n - 1) % n], &p = ring[i], &after = ring[(i + 1) % n];
    const double tx = after.x - before.x, ty = after.y - before.y, size = std::hypot(tx, ty);
    const double where = along / length * static_cast<double>(knots);
    const auto k = static_cast<std::size_t>(where) % knots;
    const double d = common + at[k];
    // The ring turns from +x to +y, so (ty, -tx) points outward.
    const double outward = signed_area(ring) > 0 ? 1 : -1, x = outward * d * ty / size, y = -outward * d * tx / size;
    out[0].parts[0].outer[i] = {p.x + x, p.y + y};
    out[1].parts[0].outer[i] = {p.x - x, p.y - y};
    along += distance(p, after);
  }
  return out;
}

std::optional<Trial> run(const Stratum& stratum, Random& random) {
  const bool bent = stratum.u_from >= 0;
  scenes::Scene scene;
  scenes::Noise noise{random.uniform(0.5, 1.5), random.uniform(1, 5), static_cast<int>(random.uniform(85, 97)), random.bits()};
  scene.detail = scenes::Detail::plain;
  scene.light.uneven = random.uniform(0, 0.25);
  scene.light.exposure = random.uniform(0.75, 1.05);
  const double diameter = random.uniform(stratum.diameter_from, stratum.diameter_to);

  measure::MeasureOptions options;
  options.plane_offset_u_mm = options.plane_tilt_u_deg = 0;
  options.skin_radius_mm = std::numeric_limits<double>::infinity();
  scale::CardOptions card_options;
  card_options.print_scale_u = 0;
  auto& card = *scene.card;
  double wound_s = 0;
  if (bent) {
    const double depth = random.uniform(140, 200), width = depth * random.uniform(0.6, 0.7);
    scene.flank = scenes::Flank{depth, width};
    measure::Body body;
    // What the user enters is off by the stated 10 %; where the card touches and where the midline is picked too.
    body.depth_mm = depth * (1 + random.normal(0, body.half_axes_relative_u));
    body.width_mm = width * (1 + random.normal(0, body.half_axes_relative_u));
    options.body = body;
    double t = 0;
    if (stratum.midline) {
      t = std::asin(random.uniform(stratum.u_from, stratum.u_to) * (random.uniform() < 0.5 ? -1 : 1));
    } else {
      // Where the card touches, within what the budget allows for: 20 degrees about the middle of the flank.
      do t = random.normal(0, 20 * M_PI / 180);
      while (std::abs(t) > 50 * M_PI / 180);
    }
    // Arc length to that offset, by Simpson.
    constexpr int kPieces = 200;
    const auto speed = [&](double a) { return std::hypot(depth / 2 * std::cos(a), width / 2 * std::sin(a)); };
    for (int i = 0; i < kPieces; ++i) {
      const double h = t / kPieces, a = i * h;
      wound_s += h / 6 * (speed(a) + 4 * speed(a + h / 2) + speed(a + h));
    }
    // Beside the wound, as the card's text asks.
    card.centre.s = wound_s + random.normal(0, stratum.midline ? 8 : 15);
    card.slide_mm = random.normal(0, body.contact_u_mm);
    card.turn_deg = stratum.midline ? random.uniform(-10, 10) : random.normal(0, 10);
  } else {
    card.centre.s = random.uniform(-15, 15);
    card.turn_deg = random.uniform(-90, 90);
  }
  scene.ulcer = scenes::irregular_ulcer({0, wound_s}, diameter / 2, random.uniform(0.04, 0.14), random.bits());
  const double reach = 0.75 * diameter + 66;
  card.centre.x = -(reach + random.uniform(0, 15));
  if (!bent) {
    // Any side of the wound.
    const double side = random.uniform(0, 2 * M_PI), away = std::abs(card.centre.x);
    card.centre = {away * std::cos(side), away * std::sin(side)};
  }
  if (stratum.allowances) {
    options.plane_offset_u_mm = 1;
    card.offset_mm = random.normal(0, options.plane_offset_u_mm);
    card_options.print_scale_u = 0.002;
    card.print_scale = 1 + random.normal(0, card_options.print_scale_u);
  }
  if (stratum.wedge) {
    options.plane_tilt_u_deg = 1;
    card.wedge_deg = random.normal(0, options.plane_tilt_u_deg);
    card.lean_deg = random.normal(0, options.plane_tilt_u_deg);
  }
  const double focal = random.uniform(1400, 2400);
  const double k1 = stratum.lens_known ? random.uniform(-0.12, 0.08) : random.normal(0, 0.02);
  auto& view = scene.view;
  view.width_px = kWidth;
  view.height_px = kHeight;
  view.camera = scenes::pinhole(kWidth, kHeight, focal, k1, stratum.lens_known ? random.uniform(-0.02, 0.02) : 0);
  view.tilt_deg = random.uniform(stratum.tilt_from, stratum.tilt_to);
  view.azimuth_deg = random.uniform(0, 360);
  view.roll_deg = random.uniform(0, 360);
  view.aim = {card.centre.x * 0.6, bent ? (card.centre.s + wound_s) / 2 : card.centre.s * 0.6};
  // All of card and wound in the frame, with some room.
  view.distance_mm = std::max(200.0, focal * random.uniform(215, 330) / kHeight);

  scenes::Truth truth;
  try {
    truth = scenes::truth_of(scene);
  } catch (const std::invalid_argument&) { return std::nullopt; }
  double low_x = 1e9, high_x = -1e9, low_y = 1e9, high_y = -1e9;
  for (const auto& p : truth.card_corners) {
    low_x = std::min(low_x, p.x), high_x = std::max(high_x, p.x);
    low_y = std::min(low_y, p.y), high_y = std::max(high_y, p.y);
  }
  for (const auto& p : truth.outline.parts[0].outer)
    if (p.x < 5 || p.y < 5 || p.x > kWidth - 6 || p.y > kHeight - 6) return std::nullopt;
  if (low_x < 5 || low_y < 5 || high_x > kWidth - 6 || high_y > kHeight - 6) return std::nullopt;
  cv::Rect box(static_cast<int>(low_x) - 24, static_cast<int>(low_y) - 24, static_cast<int>(high_x - low_x) + 48,
               static_cast<int>(high_y - low_y) + 48);
  box &= cv::Rect(0, 0, kWidth, kHeight);

  // The card's part stands for the photo: the camera and every pixel move with its corner.
  const auto photo = scenes::render(scene, noise, box);
  scale::Camera camera = view.camera;
  if (!stratum.lens_known) {
    camera.k1 = camera.k2 = 0;
    camera.from = scale::Camera::From::exif;
    camera.focal_relative_u = 0.03;
    camera.fx = camera.fy = focal * (1 + random.normal(0, camera.focal_relative_u));
  } else {
    // A calibration has its own doubt: k1's is the default of MeasureOptions for a profile.
    camera.k1 += random.normal(0, 0.002);
    camera.fx = camera.fy = focal * (1 + random.normal(0, camera.focal_relative_u));
  }
  camera.cx -= box.x;
  camera.cy -= box.y;
  const auto map = scale::find_card(photo, camera, card_options);
  if (!map) return std::nullopt;
  const auto moved = [&](const ImageOutline& o) {
    return mapped<ImagePoint, ImagePoint>(o, [&](const ImagePoint& p) { return ImagePoint{p.x - box.x, p.y - box.y}; });
  };
  if (options.body && stratum.midline) {
    auto& body = *options.body;
    // The midline is picked that much too high or too low on the body.
    const double slip = random.normal(0, body.midline_u_mm);
    const auto a = scenes::pixel_of(scene, {card.centre.x - 40, slip}), b = scenes::pixel_of(scene, {card.centre.x + 80, slip});
    if (!a || !b) return std::nullopt;
    body.midline = {{a->x - box.x, a->y - box.y}, {b->x - box.x, b->y - box.y}};
  }

  Trial trial;
  margin::Margin exact;
  exact.outline = moved(truth.outline);
  const auto first = measure::measure(*map, exact, options);
  if (!first) return std::nullopt;
  trial.truth_mm2 = truth.area_mm2, trial.tilt_deg = view.tilt_deg;
  trial.exact = {*first, truth.area_mm2};
  for (const auto& w : first->warnings) trial.warnings.insert(w.code);

  margin::Margin hand;
  hand.common_px = random.uniform(0.3, 1.5);
  hand.correlation_px = 20;
  hand.doubt_px.assign(exact.outline.parts[0].outer.size(), random.uniform(0.5, 2));
  const auto drawn = traced(exact.outline, hand, random);
  for (const bool other : {false, true}) {
    auto one = hand;
    one.outline = drawn[other];
    const auto got = measure::measure(*map, one, options);
    if (!got) return std::nullopt;
    (other ? trial.mirrored : trial.traced) = {*got, truth.area_mm2};
    if (!other)
      for (const auto& line : got->budget) trial.budget[line.source] = line.u_mm2 / truth.area_mm2;
  }
  return trial;
}

struct Sum {
  int n = 0, exact_held = 0, traced_held = 0;
  double bias = 0, squares = 0, ratios = 0, traced_bias = 0, traced_root_bias = 0, traced_ratios = 0;
  std::map<std::string, int> warnings;
  void add(const Trial& t) {
    ++n;
    bias += t.exact.error, squares += t.exact.error * t.exact.error, ratios += std::pow(t.exact.error / t.exact.u, 2);
    traced_bias += (t.traced.error + t.mirrored.error) / 2, traced_root_bias += (t.traced.root_error + t.mirrored.root_error) / 2;
    traced_ratios += std::pow(t.traced.root_error / t.traced.u, 2);
    exact_held += t.exact.holds, traced_held += t.traced.holds;
    for (const auto& w : t.warnings) ++warnings[w];
  }
  void add(const Sum& s) {
    n += s.n, exact_held += s.exact_held, traced_held += s.traced_held, bias += s.bias, squares += s.squares, ratios += s.ratios;
    traced_bias += s.traced_bias, traced_root_bias += s.traced_root_bias, traced_ratios += s.traced_ratios;
  }
  void print(const std::string& name) const {
    fmt::print("| {} | {} | {:+.3f} | {:.3f} | {:.2f} | {:.1f} | {:+.2f} | {:+.2f} | {:.2f} | {:.1f} |\n", name, n, 100 * bias / n,
               100 * std::sqrt(squares / n), std::sqrt(ratios / n), 100.0 * exact_held / n, 100 * traced_bias / n, 100 * traced_root_bias / n,
               std::sqrt(traced_ratios / n), 100.0 * traced_held / n);
    std::fflush(stdout);
  }
};

/// One line a trial: what is needed to compare each line of the budget with what it did.
void write(std::FILE* file, const std::string& stratum, const Trial& t) {
  fmt::print(file, "\"{}\",{:.5f},{:.2f},{:.7f},{:.7f},{:.7f},{:.7f},{:.7f}", stratum, t.truth_mm2, t.tilt_deg, t.exact.error, t.exact.u, t.traced.error,
             t.mirrored.error, t.traced.u);
  for (const auto* source : kSources) {
    const auto at = t.budget.find(source);
    fmt::print(file, ",{:.7f}", at == t.budget.end() ? 0 : at->second);
  }
  fmt::print(file, "\n");
}

Sum run_stratum(std::size_t index, int trials, std::FILE* file) {
  Sum sum;
  std::mutex lock;
  std::atomic<int> next{0};
  const auto work = [&] {
    for (int i; (i = next++) < trials;) {
      Random random(1000003ull * (index + 1) + static_cast<std::uint64_t>(i));
      // A drawn scene that does not fit the frame is drawn again: that is the draw's business, not the product's.
      for (int attempt = 0; attempt < 40; ++attempt) {
        const auto trial = run(kStrata[index], random);
        const std::lock_guard guard(lock);
        if (!trial) continue;
        sum.add(*trial);
        if (file) write(file, kStrata[index].name, *trial);
        break;
      }
    }
  };
  cv::setNumThreads(1);
  std::thread other(work);
  work();
  other.join();
  return sum;
}

}  // namespace

int main(int argc, char** argv) {
  const bool in_short = argc > 1 && std::string(argv[1]) == "--short";
  const int trials = in_short ? 8 : argc > 1 ? std::atoi(argv[1]) : 1000;
  const std::string only = argc > 2 ? argv[2] : "";
  if (trials < 1) {
    fmt::print(stderr, "usage: bench_accuracy [--short | N [STRATUM [TRIALS.csv]]]\n");
    return 2;
  }
  std::FILE* file = argc > 3 ? std::fopen(argv[3], "w") : nullptr;
  if (file) {
    fmt::print(file, "stratum,true_mm2,tilt_deg,exact_error,exact_u,traced_error,mirrored_error,traced_u");
    for (const auto* source : kSources) fmt::print(file, ",{}", source);
    fmt::print(file, "\n");
  }
  fmt::print("| stratum | scenes | bias % | RMS % | scatter / u | held % | traced: bias % | of the root % | scatter / u | held % |\n");
  fmt::print("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n");
  bool good = true;
  Sum all;
  std::string warned;
  for (std::size_t i = 0; i < kStrata.size(); ++i) {
    if (!only.empty() && std::string(kStrata[i].name).find(only) == std::string::npos) continue;
    const auto s = run_stratum(i, trials, file);
    const double n = s.n, bias = 100 * s.bias / n, rms = 100 * std::sqrt(s.squares / n);
    s.print(kStrata[i].name);
    all.add(s);
    warned += fmt::format("| {} |", kStrata[i].name);
    for (const auto& [code, count] : s.warnings) warned += fmt::format(" {} {:.1f}", code, 100.0 * count / n);
    warned += " |\n";
    // With few scenes chance alone moves a mean by 3 RMS / sqrt(n) and a count by 3 binomial deviations.
    const double chance = 3 / std::sqrt(n), held_chance = 3 * std::sqrt(0.95 * 0.05 / n);
    good = good && s.n == trials && std::abs(bias) < 0.2 + chance * kStrata[i].rms_limit &&
           rms < kStrata[i].rms_limit * (1 + chance / std::sqrt(2.0)) && s.traced_held / n > 0.93 - held_chance;
  }
  all.print("all");
  fmt::print("\n| stratum | warnings, % of scenes |\n| --- | --- |\n{}", warned);
  if (file) std::fclose(file);
  if (in_short && !good) fmt::print("a limit was broken\n");
  return in_short && !good ? 1 : 0;
}
