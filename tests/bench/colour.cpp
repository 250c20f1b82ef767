// Colour of real chart photos before and after correction from three of the chart's own greys, CIEDE2000 over the other 21 patches.
// Reference values: SOURCE.md of shared/data/aruco_colorchecker (the maker's figures for D50), adapted to D65 by Bradford.
#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <opencv2/aruco.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>
#include <string>
#include <vector>

#include "uroko/bed/bed.h"
#include "uroko/photo/photo.h"

namespace fs = std::filesystem;
using namespace uroko;

namespace {

// A1..A4, B1 .. F4: letters along the chart's long side.
constexpr double kReference[24][3] = {
    {37.54, 14.37, 14.92}, {62.73, 35.83, 56.5},   {28.37, 15.42, -49.8},  {95.19, -1.03, 2.93}, {64.66, 19.27, 17.5},  {39.43, 10.75, -45.17},
    {54.38, -39.72, 32.27}, {81.29, -0.57, 0.44},  {49.32, -3.82, -22.54}, {50.57, 48.64, 16.67}, {42.43, 51.05, 28.62}, {66.89, -0.75, -0.06},
    {43.46, -12.74, 22.72}, {30.1, 22.54, -20.87}, {81.8, 2.67, 80.41},    {50.76, -0.13, 0.14}, {54.94, 9.61, -24.79}, {71.77, -24.13, 58.19},
    {50.63, 51.28, -14.12}, {35.63, -0.46, -0.48}, {70.48, -32.26, -0.37}, {71.51, 18.24, 67.37}, {49.57, -29.71, -28.32}, {20.64, 0.07, -0.46}};
constexpr int kGreys[3] = {7, 15, 19};  // B4, D4, E4: L* 81, 51, 36, as on uroko's card

bed::Lab d65_from_d50(const double* lab) {
  const double fy = (lab[0] + 16) / 116;
  const auto inverse = [](double v) { return v > 6.0 / 29 ? v * v * v : 3 * 36.0 / 841 * (v - 4.0 / 29); };
  const double xyz[3] = {0.96422 * inverse(fy + lab[1] / 500), inverse(fy), 0.82521 * inverse(fy - lab[2] / 200)};
  // Bradford, D50 to D65 (Lindbloom's published matrix).
  constexpr double m[3][3] = {{0.9555766, -0.0230393, 0.0631636}, {-0.0282895, 1.0099416, 0.0210077}, {0.0122982, -0.0204830, 1.3299098}};
  double v[3], f[3];
  const double white[3] = {0.95047, 1, 1.08883};
  for (int i = 0; i < 3; ++i) {
    v[i] = (m[i][0] * xyz[0] + m[i][1] * xyz[1] + m[i][2] * xyz[2]) / white[i];
    f[i] = v[i] > 216.0 / 24389 ? std::cbrt(v[i]) : (24389.0 / 27 * v[i] + 16) / 116;
  }
  return {116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])};
}

/// Chart patches read at grid places of a rectified picture.
std::array<cv::Vec3d, 24> read(const cv::Mat& flat, double margin_long, double margin_short, int flip) {
  std::array<cv::Vec3d, 24> out;
  for (int letter = 0; letter < 6; ++letter)
    for (int digit = 0; digit < 4; ++digit) {
      const int l = flip & 1 ? 5 - letter : letter, d = flip & 2 ? 3 - digit : digit;
      const double y = margin_long + (1 - 2 * margin_long) * l / 5, x = margin_short + (1 - 2 * margin_short) * d / 3;
      const int half = flat.cols / 28;
      const cv::Rect box(int(x * flat.cols) - half, int(y * flat.rows) - half, 2 * half, 2 * half);
      std::vector<uchar> v[3];
      for (int j = box.y; j < box.br().y; ++j)
        for (int i = box.x; i < box.br().x; ++i)
          for (int c = 0; c < 3; ++c) v[c].push_back(flat.at<cv::Vec3b>(j, i)[c]);
      for (int c = 0; c < 3; ++c) {
        std::nth_element(v[c].begin(), v[c].begin() + long(v[c].size() / 2), v[c].end());
        out[std::size_t(letter * 4 + digit)][c] = v[c][v[c].size() / 2];
      }
    }
  return out;
}

struct Scores {
  std::vector<double> before, after;
};
double median(std::vector<double> v) {
  std::sort(v.begin(), v.end());
  return v[v.size() / 2];
}

Scores score(const std::array<cv::Vec3d, 24>& seen, bed::WhiteBalance& balance) {
  std::vector<bed::GreySeen> greys;
  for (const int g : kGreys) greys.push_back({d65_from_d50(kReference[g]).l, {seen[std::size_t(g)][0], seen[std::size_t(g)][1], seen[std::size_t(g)][2]}});
  balance = bed::from_greys(greys);
  Scores out;
  for (int i = 0; i < 24; ++i) {
    if (std::find(std::begin(kGreys), std::end(kGreys), i) != std::end(kGreys)) continue;
    const auto& p = seen[std::size_t(i)];
    double light[3];
    for (std::size_t c = 0; c < 3; ++c) light[c] = balance.gain[c] * std::pow(bed::linear_from_srgb(p[int(c)] / 255), balance.gamma[c]);
    const auto reference = d65_from_d50(kReference[i]);
    out.before.push_back(bed::ciede2000(bed::lab_from_srgb(p[2], p[1], p[0]), reference));
    out.after.push_back(bed::ciede2000(bed::lab_from_linear(light[2], light[1], light[0]), reference));
  }
  return out;
}

}  // namespace

int main() {
  const fs::path root = fs::path(UROKO_SHARED_DATA) / "aruco_colorchecker" / "images";
  if (!fs::exists(root)) return std::printf("skipped: no %s\n", root.c_str()), 0;
  std::vector<fs::path> files;
  for (const auto& e : fs::directory_iterator(root)) files.push_back(e.path());
  std::sort(files.begin(), files.end());
  std::printf("| photo | median dE00 as shot | after three greys | p90 as shot | p90 after |\n| --- | --- | --- | --- | --- |\n");
  std::vector<double> all_before, all_after;
  for (const auto& file : files) {
    const auto photo = photo::load(file).bgr;
    std::vector<std::vector<cv::Point2f>> corners;
    std::vector<int> ids;
    cv::aruco::detectMarkers(photo, cv::aruco::getPredefinedDictionary(cv::aruco::DICT_4X4_50), corners, ids);
    // Inner corners: the markers' corners that face the chart (0 top left .. 3 bottom right of the sheet).
    cv::Point2f inner[4];
    int found = 0;
    for (std::size_t i = 0; i < ids.size(); ++i)
      if (ids[i] >= 0 && ids[i] < 4) {
        constexpr int facing[4] = {2, 3, 1, 0};
        inner[ids[i]] = corners[i][std::size_t(facing[ids[i]])];
        ++found;
      }
    if (found < 4) continue;
    const bool mini = file.filename().string().find("mini") != std::string::npos;
    const int w = 420, h = mini ? 690 : 600;
    const cv::Point2f to[4] = {{0, 0}, {float(w), 0}, {0, float(h)}, {float(w), float(h)}};
    cv::Mat flat;
    cv::warpPerspective(photo, flat, cv::getPerspectiveTransform(inner, to), {w, h}, cv::INTER_AREA);
    // Where exactly the chart lies on its sheet is not written down: the grid that fits its colours best is taken.
    double best = 1e9;
    Scores scores;
    for (int flip = 0; flip < 4; ++flip)
      for (double ml = 0.07; ml <= 0.16; ml += 0.01)
        for (double ms = 0.10; ms <= 0.18; ms += 0.01) {
          bed::WhiteBalance balance;
          const auto s = score(read(flat, ml, ms, flip), balance);
          if (balance.from == bed::WhiteBalance::From::none) continue;
          double sum = 0;
          for (const double e : s.after) sum += e;
          if (sum < best) best = sum, scores = s;
        }
    if (scores.after.empty()) {
      std::printf("| %s | greys not read | | | |\n", file.stem().c_str());
      continue;
    }
    const auto p90 = [](std::vector<double> v) { return std::sort(v.begin(), v.end()), v[v.size() * 9 / 10]; };
    std::printf("| %s | %.1f | %.1f | %.1f | %.1f |\n", file.stem().c_str(), median(scores.before), median(scores.after), p90(scores.before), p90(scores.after));
    all_before.insert(all_before.end(), scores.before.begin(), scores.before.end());
    all_after.insert(all_after.end(), scores.after.begin(), scores.after.end());
  }
  std::printf("\nall patches: median %.1f before, %.1f after\n", median(all_before), median(all_after));
}
