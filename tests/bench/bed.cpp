// Shares on rendered scenes with colour casts, tissue classes against people's labels, and colour of chart photos before and after correction
// from three greys. build/release/tests/bench_bed prints the tables of assets/guide/bed.md; --short checks the rendered scenes alone.
// ctest: --short
#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <opencv2/aruco.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>
#include <sstream>

#include "bed/pixels.h"
#include "uroko/base/file.h"
#include "uroko/base/random.h"
#include "uroko/bed/bed.h"
#include "uroko/photo/photo.h"
#include "uroko/scale/card.h"
#include "uroko/scale/references.h"
#include "uroko/scenes/scene.h"

namespace fs = std::filesystem;
using namespace uroko;
using bed::Tissue;

namespace {

constexpr std::array<const char*, 6> kNames = {"granulation", "slough", "necrotic", "pale", "unsure", "glare"};

double quantile(std::vector<double> v, double q) {
  std::sort(v.begin(), v.end());
  return v.empty() ? NAN : v[std::min(v.size() - 1, static_cast<std::size_t>(q * double(v.size())))];
}

/// Rows: truth; columns: what uroko says.
using Confusion = std::array<std::array<double, 6>, 4>;
void print(const Confusion& c, const char* title) {
  std::printf("\n%s\n\n| truth \\ uroko | granulation | slough | necrotic | pale | unsure | glare | pixels |\n| --- | --- | --- | --- | --- | --- | --- | --- |\n", title);
  double right = 0, told = 0, all = 0;
  for (std::size_t t = 0; t < 4; ++t) {
    double sum = 0;
    for (const double n : c[t]) sum += n;
    if (sum == 0) continue;
    std::printf("| %s |", kNames[t]);
    for (const double n : c[t]) std::printf(" %.3f |", n / sum);
    std::printf(" %.0f |\n", sum);
    right += c[t][t];
    all += sum;
    for (std::size_t k = 0; k < 4; ++k) told += c[t][k];
  }
  std::printf("\nright where a class is told: %.3f; told for %.3f of the pixels\n", right / told, told / all);
}

scenes::Scene cast_scene(int i, Random& random) {
  scenes::Scene scene;
  scene.ulcer = scenes::irregular_ulcer({5, 0}, random.uniform(7, 16), 0.1, std::uint64_t(100 + i));
  scene.ulcer->slough = random.uniform(0.05, 0.5);
  scene.ulcer->necrotic = random.uniform(0.0, 0.2);
  scene.ulcer->pale = random.uniform(0.0, 0.25);
  scene.light.cast_rgb = {random.uniform(0.75, 1.25), 1, random.uniform(0.65, 1.3)};
  scene.light.exposure = random.uniform(0.7, 1.1);
  scene.light.glare = i % 3 == 0 ? 0 : random.uniform(0.5, 1.2);
  scene.view.width_px = 2000;
  scene.view.height_px = 1500;
  scene.view.camera = scenes::pinhole(2000, 1500, 2000);
  scene.view.tilt_deg = random.uniform(0, 25);
  scene.view.azimuth_deg = random.uniform(0, 360);
  scene.view.distance_mm = 280;
  return scene;
}

/// The photo where it matters: the wound and the card's greys (rendering the rest would take ten times as long).
cv::Mat render_parts(const scenes::Scene& scene, const scenes::Noise& noise, const scenes::Truth& truth) {
  cv::Mat photo(scene.view.height_px, scene.view.width_px, CV_8UC3, cv::Scalar::all(128));
  std::vector<cv::Point2f> wound, greys;
  for (const auto& p : truth.outline.parts[0].outer) wound.emplace_back(float(p.x), float(p.y));
  for (const auto& patch : scale::card_layout().patches)
    for (int k = 0; k < 4; ++k) {
      const auto p = scenes::pixel_of_card(scene, {patch.x + patch.w * (k % 2), patch.y + patch.h * (k / 2)});
      greys.emplace_back(float(p.x), float(p.y));
    }
  for (const auto& points : {wound, greys}) {
    cv::Rect box = cv::boundingRect(points);
    box = cv::Rect(box.x - 8, box.y - 8, box.width + 16, box.height + 16) & cv::Rect(0, 0, photo.cols, photo.rows);
    scenes::render(scene, noise, box).copyTo(photo(box));
  }
  return photo;
}

void dump(const cv::Mat& photo, const bed::Bed& got, const cv::Mat& truth, const char* file) {
  const cv::Vec3b colours[7] = {{40, 40, 200}, {80, 200, 230}, {20, 20, 20}, {200, 180, 240}, {200, 80, 80}, {255, 255, 255}, {90, 120, 90}};
  cv::Mat all(got.box.height, got.box.width * 3, CV_8UC3), labels;
  bed::balanced(photo(got.box), got.balance).copyTo(all.colRange(0, got.box.width));
  cv::resize(got.labels, labels, got.box.size(), 0, 0, cv::INTER_NEAREST);
  for (int y = 0; y < all.rows; ++y)
    for (int x = 0; x < got.box.width; ++x) {
      all.at<cv::Vec3b>(y, x + got.box.width) = colours[std::min<int>(6, labels.at<uchar>(y, x))];
      all.at<cv::Vec3b>(y, x + 2 * got.box.width) = colours[std::min<int>(6, truth.at<uchar>(y, x))];
    }
  write_file_whole(file, photo::encode_png(all));
}

/// Mean absolute error of the four shares.
double rendered(int scenes, const char* dump_to, int dump_which) {
  Random random(5);
  std::array<std::vector<double>, 6> error;
  std::vector<double> inside95;
  Confusion confusion{};
  double worst = 0;
  for (int i = 0; i < scenes; ++i) {
    const auto scene = cast_scene(i, random);
    scenes::Noise noise;
    noise.seed = std::uint64_t(i);
    const auto truth = scenes::truth_of(scene);
    const auto photo = render_parts(scene, noise, truth);
    const auto& c = truth.card_corners;
    const auto map = scale::from_rectangle({}, scene.view.camera, {c[0], c[1], c[2], c[3]}, scale::card_layout().width_mm, scale::card_layout().height_mm);
    const auto got = bed::classify(photo, truth.outline, *map, bed::from_patches(photo, *map));
    const auto tissue = scenes::render_tissue(scene, got.box);
    for (int y = 0; y < got.labels.rows; ++y)
      for (int x = 0; x < got.labels.cols; ++x) {
        const auto l = got.labels.at<uchar>(y, x), t = tissue.at<uchar>(int((y + 0.5) / got.scale), int((x + 0.5) / got.scale));
        if (l < 6 && t < 4) confusion[t][l] += 1;
      }
    for (std::size_t k = 0; k < 6; ++k) {
      const double e = got.tissue[k].share - truth.shares[k];
      error[k].push_back(e);
      if (k < 4) {
        worst = std::max(worst, std::abs(e));
        inside95.push_back(std::abs(e) <= 1.96 * got.tissue[k].share_u);
      }
    }
    if (got.balance.from != bed::WhiteBalance::From::patches) std::printf("scene %d: the greys were not read\n", i);
    if (dump_to != nullptr && i == dump_which) dump(photo, got, tissue, dump_to);
  }
  std::printf("Rendered scenes with colour casts: %d, each with gains 0.75..1.25 (red), 0.65..1.3 (blue), exposure 0.7..1.1, tilt 0..25 degrees, two of three wet.\n\n", scenes);
  std::printf("| share of | mean error | median of abs | p90 of abs | worst |\n| --- | --- | --- | --- | --- |\n");
  for (std::size_t k = 0; k < 6; ++k) {
    double mean = 0;
    std::vector<double> size;
    for (const double e : error[k]) mean += e / double(error[k].size()), size.push_back(std::abs(e));
    std::printf("| %s | %+.3f | %.3f | %.3f | %.3f |\n", kNames[k], mean, quantile(size, 0.5), quantile(size, 0.9), quantile(size, 1));
  }
  double held = 0, within = 0;
  for (const double h : inside95) held += h / double(inside95.size());
  for (std::size_t k = 0; k < 4; ++k)
    for (const double e : error[k]) within += (std::abs(e) <= 0.05) / double(4 * scenes);
  std::printf("\nwithin 0.05: %.3f of the shares; the stated 95 %% interval holds the truth in %.3f; worst %.3f\n", within, held, worst);
  print(confusion, "Pixels of the rendered scenes");
  double sum = 0;
  for (std::size_t k = 0; k < 4; ++k)
    for (const double e : error[k]) sum += std::abs(e) / double(4 * scenes);
  return sum;
}

void lutseg() {
  const fs::path root = fs::path(UROKO_SHARED_DATA) / "lutseg_examples";
  if (!fs::exists(root)) return;
  Confusion confusion{};
  std::vector<double> errors;
  for (const auto& e : fs::directory_iterator(root / "images")) {
    const auto photo = photo::load(e.path()).bgr;
    const auto mask = photo::load(root / "masks_tissue" / (e.path().stem().string() + ".png")).bgr;
    // 1 epithelial (uroko's pale), 2 slough, 3 granulation, 4 necrotic.
    constexpr std::array<int, 5> tissue_of = {-1, 3, 1, 0, 2};
    cv::Mat inside(mask.size(), CV_8U, cv::Scalar(0));
    for (int y = 0; y < mask.rows; ++y)
      for (int x = 0; x < mask.cols; ++x) {
        const int v = mask.at<cv::Vec3b>(y, x)[1];
        if (v >= 1 && v <= 4) inside.at<uchar>(y, x) = 255;
      }
    const auto pixels = bed::classes_of(photo, inside, {}, bed::default_thresholds());
    std::array<double, 6> ours{}, theirs{};
    double n = 0;
    for (int y = 0; y < mask.rows; ++y)
      for (int x = 0; x < mask.cols; ++x) {
        if (inside.at<uchar>(y, x) == 0) continue;
        const auto t = std::size_t(tissue_of[mask.at<cv::Vec3b>(y, x)[1]]);
        confusion[t][pixels.labels.at<uchar>(y, x)] += 1;
        ours[pixels.labels.at<uchar>(y, x)] += 1;
        theirs[t] += 1;
        n += 1;
      }
    for (std::size_t k = 0; k < 4; ++k) errors.push_back(std::abs(ours[k] - theirs[k]) / n);
  }
  print(confusion, "LUTSeg photos (no grey reference, so uncorrected) against one clinician's labels; epithelial counts as pale");
  std::printf("share error: median %.3f, p90 %.3f\n", quantile(errors, 0.5), quantile(errors, 0.9));
}

void woundtissue() {
  const fs::path root = fs::path(UROKO_SHARED_DATA) / "woundtissue_samples";
  if (!fs::exists(root)) return;
  Confusion confusion{};
  std::vector<double> errors;
  for (const auto& e : fs::directory_iterator(root / "images")) {
    const auto photo = photo::load(e.path()).bgr;
    fs::path mask_file;
    for (const auto& m : fs::directory_iterator(root / "masks"))
      if (m.path().stem() == e.path().stem()) mask_file = m.path();
    if (mask_file.empty()) continue;
    const auto mask = photo::load(mask_file).bgr;
    if (mask.size() != photo.size()) continue;
    cv::Mat truth(mask.size(), CV_8U, cv::Scalar(255)), inside(mask.size(), CV_8U, cv::Scalar(0));
    for (int y = 0; y < mask.rows; ++y)
      for (int x = 0; x < mask.cols; ++x) {
        const auto& p = mask.at<cv::Vec3b>(y, x);
        const bool b = p[0] > 128, g = p[1] > 128, r = p[2] > 128;
        // red granulation, yellow slough, white maceration (pale), black necrosis; tendon and bone are left out.
        const int t = r && !g && !b ? 0 : r && g && !b && p[0] < 60 ? 1 : r && g && b && p[0] > 240 ? 3 : !r && !g && !b ? 2 : -1;
        if (t >= 0) truth.at<uchar>(y, x) = uchar(t), inside.at<uchar>(y, x) = 255;
      }
    const auto pixels = bed::classes_of(photo, inside, {}, bed::default_thresholds());
    std::array<double, 6> ours{}, theirs{};
    double n = 0;
    for (int y = 0; y < mask.rows; ++y)
      for (int x = 0; x < mask.cols; ++x) {
        if (inside.at<uchar>(y, x) == 0) continue;
        confusion[truth.at<uchar>(y, x)][pixels.labels.at<uchar>(y, x)] += 1;
        ours[pixels.labels.at<uchar>(y, x)] += 1;
        theirs[truth.at<uchar>(y, x)] += 1;
        n += 1;
      }
    for (std::size_t k = 0; k < 4 && n > 0; ++k) errors.push_back(std::abs(ours[k] - theirs[k]) / n);
  }
  print(confusion, "WoundTissue crops (uncorrected) against their polygon labels; maceration counts as pale");
  std::printf("share error: median %.3f, p90 %.3f\n", quantile(errors, 0.5), quantile(errors, 0.9));
}

}  // namespace

int main(int argc, char** argv) {
  const bool in_short = argc > 1 && std::strcmp(argv[1], "--short") == 0;
  const char* dump_to = argc > 3 && std::strcmp(argv[1], "--dump") == 0 ? argv[3] : nullptr;
  const double mean_error = rendered(in_short ? 8 : 60, dump_to, dump_to != nullptr ? std::atoi(argv[2]) : -1);
  // A floor against regressions; the figures themselves stand in assets/guide/bed.md.
  if (in_short) return mean_error <= 0.035 ? 0 : 1;
  lutseg();
  woundtissue();
  return 0;
}
