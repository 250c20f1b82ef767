// How well the printed card is found and how true its areas are: random views of the card by a bare renderer.
// Full form: bench_card_accuracy [views]; prints a Markdown table for assets/guide/accuracy.md.
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include "support/flat_photo.h"
#include "uroko/base/random.h"
#include "uroko/report/card_print.h"
#include "uroko/scale/references.h"

using namespace uroko;
using namespace uroko::testing;

int main(int argc, char** argv) {
  const int views = argc > 1 ? std::atoi(argv[1]) : 60;
  const cv::Mat print = report::card_picture(24);
  std::printf("| tilt deg | views | found | points rms px | point error px | area error %% mean | sd | worst | within 2 u |\n|---|---|---|---|---|---|---|---|---|\n");
  for (const double tilt : {0.0, 15.0, 30.0, 40.0}) {
    Random random(17 + static_cast<unsigned>(tilt));
    int found = 0, within = 0;
    double sum = 0, sum2 = 0, worst = 0, rms = 0, off = 0;
    for (int i = 0; i < views; ++i) {
      FlatView v;
      v.tilt_deg = tilt;
      v.tilt_towards_deg = random.uniform(0, 360);
      v.turn_deg = random.uniform(0, 360);
      v.distance_mm = random.uniform(250, 420);
      v.x_mm = random.uniform(-30, 30);
      v.y_mm = random.uniform(-20, 20);
      v.blur_px = random.uniform(0.6, 1.6);
      v.noise = random.uniform(2, 6);
      v.contrast = random.uniform(0.5, 0.85);
      v.dark = random.uniform(5, 40);
      v.seed = static_cast<unsigned>(i) + 1;
      const FlatPhoto photo = photograph(print, 24, v);
      const auto map = scale::find_card(photo.bgr, scale::assumed_camera(v.width, v.height));
      if (!map) {
        std::printf("<!-- view %d: %s -->\n", i, map.refusal().text.c_str());
        continue;
      }
      ++found;
      // a wound of 20 mm, its middle 35 mm above the card's middle line
      const double ratio = area_ratio(*map, photo, 60, -5, 10) - 1;
      sum += ratio, sum2 += ratio * ratio, worst = std::max(worst, std::abs(ratio)), rms += map->rms_px;
      const auto a = photo.image_from_print({48, 24}), b = map->to_image({48, 24});
      off += std::hypot(a.x - b.x, a.y - b.y);
      // first-order: relative u of local area from the covariance, numerically
      const ImagePoint p = photo.image_from_print({60, -5});
      Eigen::Matrix<double, 8, 1> gradient;
      for (int k = 0; k < 8; ++k) {
        Eigen::Matrix3d up = map->plane_from_ideal.matrix(), down = up;
        const double e = 1e-6 * std::max(1e-9, std::abs(up(k / 3, k % 3)));
        up(k / 3, k % 3) += e, down(k / 3, k % 3) -= e;
        scale::PlaneMap mu = *map, md = *map;
        mu.plane_from_ideal = Homography<ImagePoint, PlanePoint>(up), md.plane_from_ideal = Homography<ImagePoint, PlanePoint>(down);
        gradient(k) = (2 * std::log(mu.mm_per_px(p)) - 2 * std::log(md.mm_per_px(p))) / (2 * e);
      }
      const double u = std::sqrt(gradient.dot(map->covariance * gradient));
      within += std::abs(ratio) < 2 * u;
    }
    if (found == 0) continue;
    const double mean = sum / found;
    std::printf("| %.0f | %d | %d | %.3f | %.3f | %+.4f | %.4f | %.4f | %.0f %% |\n", tilt, views, found, rms / found, off / found, 100 * mean,
                100 * std::sqrt(std::max(0.0, sum2 / found - mean * mean)), 100 * worst, 100.0 * within / found);
  }
}
