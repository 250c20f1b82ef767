// Renders the pictures of assets/guide/references.md, which its worked examples measure: render_references FOLDER writes a photo for each scale
// reference beside the same ulcer, truth.txt, and eight photos of the lens sheet (lens-*.jpg) through a lens of known distortion.
#include <fmt/format.h>

#include <cmath>
#include <cstdio>
#include <filesystem>
#include <opencv2/imgproc.hpp>

#include "uroko/base/file.h"
#include "uroko/base/random.h"
#include "uroko/geometry/polygon.h"
#include "uroko/photo/exif.h"
#include "uroko/photo/photo.h"
#include "uroko/report/card_print.h"
#include "uroko/scale/card.h"
#include "uroko/scenes/sample_case.h"

using namespace uroko;

namespace {

constexpr int kRaster = 20;  // px/mm of a print

/// A flat thing as a picture with alpha (0..255), edge to edge.
struct Print {
  cv::Mat bgra;
  double px_per_mm = kRaster;
  double width_mm() const { return bgra.cols / px_per_mm; }
  double height_mm() const { return bgra.rows / px_per_mm; }
};

Print blank(double width_mm, double height_mm, const cv::Scalar& bgr) {
  return {cv::Mat(static_cast<int>(std::lround(height_mm * kRaster)), static_cast<int>(std::lround(width_mm * kRaster)), CV_8UC4, cv::Scalar(bgr[0], bgr[1], bgr[2], 255)), kRaster};
}

/// Corners in mm from the print's edge, filled exactly to the raster's pixels.
void block(Print& print, double x, double y, double w, double h, double grey) {
  const auto px = [](double mm) { return static_cast<int>(std::lround(mm * kRaster)); };
  print.bgra(cv::Rect(px(x), px(y), px(x + w) - px(x), px(y + h) - px(y))).setTo(cv::Scalar(grey, grey, grey, 255));
}

void disc(Print& print, double x, double y, double diameter, const cv::Scalar& colour) {
  const auto at = [](double mm) { return static_cast<int>(std::lround((mm * kRaster - 0.5) * 16)); };
  cv::circle(print.bgra, {at(x), at(y)}, static_cast<int>(std::lround(diameter / 2 * kRaster * 16)), colour, cv::FILLED, cv::LINE_AA, 4);
}

void words(Print& print, const std::string& text, double x, double y, double size_mm, double grey) {
  cv::putText(print.bgra, text, {static_cast<int>(x * kRaster), static_cast<int>(y * kRaster)}, cv::FONT_HERSHEY_SIMPLEX, size_mm * kRaster / 22,
              cv::Scalar(grey, grey, grey, 255), std::max(2, static_cast<int>(size_mm * kRaster / 12)), cv::LINE_AA);
}

Print ruler() {
  auto print = blank(110, 22, {228, 234, 236});
  for (int mm = 0; mm <= 100; ++mm) {
    const double length = mm % 10 == 0 ? 7 : mm % 5 == 0 ? 5.5 : 4;
    block(print, 5 + mm - 0.1, 0, 0.2, length, 25);
    if (mm % 10 == 0) words(print, std::to_string(mm / 10), mm < 100 ? 4 + mm : 3 + mm, 11.5, 2.6, 25);
  }
  words(print, "cm", 5, 18, 2.6, 25);
  return print;
}

Print coin() {
  auto print = blank(26, 26, {0, 0, 0});
  print.bgra.setTo(cv::Scalar(58, 96, 140, 0));
  disc(print, 13, 13, 25, {58, 96, 140, 255});
  disc(print, 13, 13, 22.6, {46, 80, 120, 255});
  disc(print, 13, 13, 22.0, {54, 90, 132, 255});
  words(print, "25", 8.6, 15.6, 6.5, 60);
  return print;
}

Print plain_card() {
  auto print = blank(85.60, 53.98, {214, 190, 150});
  // ISO/IEC 7810: corners of 3.18 mm.
  const double r = 3.18, w = print.width_mm(), h = print.height_mm();
  cv::Mat alpha(print.bgra.size(), CV_8U, cv::Scalar(255));
  for (int y = 0; y < alpha.rows; ++y)
    for (int x = 0; x < alpha.cols; ++x) {
      const double px = (x + 0.5) / kRaster, py = (y + 0.5) / kRaster;
      const double dx = std::max({r - px, px - (w - r), 0.0}), dy = std::max({r - py, py - (h - r), 0.0});
      if (std::hypot(dx, dy) > r) alpha.at<uchar>(y, x) = 0;
    }
  block(print, 0, 8, w, 10, 60);
  words(print, "85.60 x 53.98 mm", 12, 36, 5, 70);
  cv::insertChannel(alpha, print.bgra, 3);
  return print;
}

Print mat() {
  auto print = blank(100, 80, {246, 248, 248});
  for (int row = 0; row < 6; ++row)
    for (int column = 0; column < 8; ++column)
      if ((row + column) % 2 == 0) block(print, 10 + 10 * column, 10 + 10 * row, 10, 10, 22);
  return print;
}

Print lens_sheet() {
  constexpr int px_per_mm = 10;
  Print print;
  print.px_per_mm = px_per_mm;
  cv::cvtColor(report::card_picture(scale::lens_sheet_layout(), px_per_mm), print.bgra, cv::COLOR_BGR2BGRA);
  return print;
}

/// Lays the print on the flat skin: its middle at `centre`, turned. Sampled where each pixel looks, the print softened to the pixel's size first.
void lay(cv::Mat& photo, const scenes::Scene& scene, const Print& print, const scenes::SkinPoint& centre, double turn_deg) {
  const cv::Mat where = scenes::skin_map(scene);
  const double c = std::cos(turn_deg * M_PI / 180), s = std::sin(turn_deg * M_PI / 180);
  cv::Mat map_x(where.size(), CV_32F), map_y(where.size(), CV_32F);
  for (int y = 0; y < where.rows; ++y)
    for (int x = 0; x < where.cols; ++x) {
      const auto& at = where.at<cv::Vec2d>(y, x);
      const double dx = at[0] - centre.x, dy = at[1] - centre.s;
      map_x.at<float>(y, x) = static_cast<float>((c * dx + s * dy + print.width_mm() / 2) * print.px_per_mm - 0.5);
      map_y.at<float>(y, x) = static_cast<float>((c * dy - s * dx + print.height_mm() / 2) * print.px_per_mm - 0.5);
    }
  cv::Mat soft, seen;
  // Room around the print, so that its edge is softened like the rest.
  constexpr int kRim = 40;
  cv::copyMakeBorder(print.bgra, soft, kRim, kRim, kRim, kRim, cv::BORDER_REPLICATE);
  cv::Mat alpha(soft.size(), CV_8U, cv::Scalar(0)), inner;
  cv::extractChannel(print.bgra, inner, 3);
  inner.copyTo(alpha(cv::Rect(kRim, kRim, inner.cols, inner.rows)));
  cv::insertChannel(alpha, soft, 3);
  const double px_per_mm = scene.view.camera.fx / scene.view.distance_mm;
  cv::GaussianBlur(soft, soft, {}, 0.6 * print.px_per_mm / px_per_mm);
  map_x += kRim, map_y += kRim;
  cv::remap(soft, seen, map_x, map_y, cv::INTER_LINEAR, cv::BORDER_CONSTANT);
  Random random(7);
  for (int y = 0; y < photo.rows; ++y)
    for (int x = 0; x < photo.cols; ++x) {
      const auto& top = seen.at<cv::Vec4b>(y, x);
      if (top[3] == 0) continue;
      auto& below = photo.at<cv::Vec3b>(y, x);
      const double a = top[3] / 255.0, grain = random.normal(0, 1.5);
      for (int k = 0; k < 3; ++k) below[k] = cv::saturate_cast<uchar>(a * (0.92 * top[k] + grain) + (1 - a) * below[k]);
    }
}

scenes::Scene wound_scene() {
  scenes::Scene scene;
  scene.ulcer = scenes::irregular_ulcer({0, 0}, 11, 0.09, 5);
  scene.coat.seed = 23;
  scene.card.reset();
  auto& view = scene.view;
  view.width_px = 1200, view.height_px = 900;
  view.camera = scenes::pinhole(view.width_px, view.height_px, 1250);
  view.aim = {-58, 8};
  view.distance_mm = 225;
  view.tilt_deg = 12;
  view.azimuth_deg = 60;
  view.roll_deg = 4;
  return scene;
}

photo::ExifFields camera_fields(double focal_px, int width, int height) {
  photo::ExifFields fields;
  fields.taken = *DateTime::parse("2026-03-02T10:14:00");
  fields.taken_from = photo::DateSource::exif;
  fields.make = "Invented";
  fields.model = "Camera";
  fields.focal35_mm = std::round(focal_px * std::hypot(36, 24) / std::hypot(width, height));
  return fields;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 2) {
    std::fputs("usage: render_references FOLDER\n", stderr);
    return 2;
  }
  const std::filesystem::path folder = argv[1];
  std::filesystem::create_directories(folder);
  const scenes::Noise noise{0.8, 1.5, 0, 3};
  const auto bare = wound_scene();
  const auto truth = scenes::truth_of(bare);
  const auto write = [&](const std::string& name, const cv::Mat& photo) {
    const auto bytes = photo::encode_jpeg_with_exif(photo, 70, camera_fields(1250, 1200, 900));
    write_file_whole(folder / ("reference-" + name + ".jpg"), bytes);
    fmt::print("reference-{}.jpg {:.0f} kB\n", name, static_cast<double>(bytes.size()) / 1024);
  };
  std::string notes = fmt::format("area {:.1f} mm2, perimeter {:.1f} mm\nloop {}\n", truth.area_mm2, truth.perimeter_mm, to_wkt(scenes::rough_loop(truth.outline), 0));
  const auto at = [&](double x, double s) {
    const auto p = *scenes::pixel_of(bare, {x, s});
    return fmt::format("{:.0f},{:.0f}", p.x, p.y);
  };

  auto with_card = bare;
  with_card.card = scenes::CardPlacement{};
  with_card.card->centre = {-80, 6};
  with_card.card->turn_deg = -4;
  write("card", scenes::render(with_card, noise));

  const cv::Mat skin = scenes::render(bare, noise);
  const auto beside = [&](const std::string& name, const Print& print, const scenes::SkinPoint& centre, double turn) {
    cv::Mat photo = skin.clone();
    lay(photo, bare, print, centre, turn);
    write(name, photo);
  };
  beside("ruler", ruler(), {-30, 32}, 0);
  notes += fmt::format("ruler 10 to 90 mm {},{}\n", at(-30 - 55 + 15, 32 - 11 + 5), at(-30 - 55 + 95, 32 - 11 + 5));
  beside("disc", coin(), {-34, 4}, 0);
  notes += fmt::format("disc {}\n", at(-34, 4));
  beside("rectangle", plain_card(), {-66, 6}, 0);
  notes += fmt::format("rectangle {},{},{},{}\n", at(-66 - 42.8, 6 - 26.99), at(-66 + 42.8, 6 - 26.99), at(-66 + 42.8, 6 + 26.99), at(-66 - 42.8, 6 + 26.99));
  beside("board", mat(), {-70, 6}, 0);
  write_file_whole(folder / "truth.txt", notes);
  fmt::print("{}", notes);

  // The lens sheet on a table, from eight sides.
  const auto sheet = lens_sheet();
  for (int k = 0; k < 8; ++k) {
    scenes::Scene table;
    table.ulcer.reset();
    table.card.reset();
    table.coat = {0, 0, 11, 2};
    table.detail = scenes::Detail::plain;
    auto& view = table.view;
    view.width_px = 1200, view.height_px = 900;
    view.camera = scenes::pinhole(view.width_px, view.height_px, 1250, -0.06);
    view.distance_mm = 330 + 15.0 * (k % 3);
    view.tilt_deg = k == 0 ? 0 : 12 + 4.0 * k;
    view.azimuth_deg = 100.0 * k;
    view.roll_deg = 25.0 * k;
    cv::Mat photo = scenes::render(table, noise);
    lay(photo, table, sheet, {0, 0}, 0);
    write_file_whole(folder / fmt::format("lens-{}.jpg", k + 1), photo::encode_jpeg_with_exif(photo, 85, camera_fields(1250, 1200, 900)));
  }
}
