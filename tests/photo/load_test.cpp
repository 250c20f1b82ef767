#include <turbojpeg.h>

#include <catch2/catch.hpp>
#include <chrono>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "photo/pictures.h"
#include "support/temp_folder.h"
#include "uroko/base/file.h"

using namespace uroko;
using namespace uroko::testing;

TEST_CASE("a JPEG comes out as TurboJPEG's own interface gives it") {
  const auto bytes = photo::encode_jpeg(corners(321, 203), 90);
  cv::Mat theirs(203, 321, CV_8UC3);
  tjhandle handle = tjInitDecompress();
  REQUIRE(tjDecompress2(handle, reinterpret_cast<const unsigned char*>(bytes.data()), bytes.size(), theirs.data, 321, 0, 203, TJPF_BGR, TJFLAG_ACCURATEDCT) == 0);
  tjDestroy(handle);
  const auto ours = photo::load_bytes(bytes, "a.jpg");
  CHECK(mean_difference(ours.bgr, theirs) == 0);
  CHECK(ours.info.width_px == 321);
  CHECK(ours.info.height_px == 203);
  CHECK(ours.info.colour_profile == "none");
  CHECK(ours.info.bytes == bytes.size());
  CHECK(ours.info.sha256 == sha256_hex(bytes));
}

TEST_CASE("every EXIF orientation comes out upright") {
  const auto scene = corners(60, 40);
  for (int orientation = 1; orientation <= 8; ++orientation) {
    // Where the stored pixel (row r, column c) lies in the scene: Exif 2.32, 4.6.4, tag 0x0112 ("0th row / 0th column").
    const bool turned = orientation >= 5;
    cv::Mat stored(turned ? 60 : 40, turned ? 40 : 60, CV_8UC3);
    for (int r = 0; r < stored.rows; ++r)
      for (int c = 0; c < stored.cols; ++c) {
        int x = 0, y = 0;
        switch (orientation) {
          case 1: x = c, y = r; break;            // top, left
          case 2: x = 59 - c, y = r; break;       // top, right
          case 3: x = 59 - c, y = 39 - r; break;  // bottom, right
          case 4: x = c, y = 39 - r; break;       // bottom, left
          case 5: x = r, y = c; break;            // left, top
          case 6: x = 59 - r, y = c; break;       // right, top
          case 7: x = 59 - r, y = 39 - c; break;  // right, bottom
          case 8: x = r, y = 39 - c; break;       // left, bottom
        }
        stored.at<cv::Vec3b>(r, c) = scene.at<cv::Vec3b>(y, x);
      }
    photo::ExifFields exif;
    exif.orientation = orientation;
    const auto loaded = photo::load_bytes(photo::encode_jpeg_with_exif(stored, 95, exif), "a.jpg");
    INFO("orientation " << orientation);
    CHECK(loaded.info.orientation == orientation);
    CHECK(loaded.info.width_px == 60);
    CHECK(loaded.info.height_px == 40);
    CHECK(mean_difference(loaded.bgr, scene) < 1.5);
  }
}

TEST_CASE("PNG of every kind comes out as BGR, transparent parts over white") {
  const auto scene = corners(50, 31);
  cv::Mat half_white = scene.clone();
  half_white.colRange(25, 50).setTo(cv::Scalar::all(255));
  cv::Mat grey(scene.size(), CV_8UC3), palette(scene.size(), CV_8UC3);
  for (int y = 0; y < 31; ++y)
    for (int x = 0; x < 50; ++x) {
      const auto g = scene.at<cv::Vec3b>(y, x)[1];
      grey.at<cv::Vec3b>(y, x) = {g, g, g};
      palette.at<cv::Vec3b>(y, x) = {uchar(g / 2), uchar(255 - g), g};
    }
  cv::Mat half_grey = grey.clone();
  half_grey.colRange(25, 50).setTo(cv::Scalar::all(255));
  for (const bool interlaced : {false, true})
    for (const int bits : {8, 16}) {
      INFO(bits << " bits, interlaced " << interlaced);
      const auto got = [&](int colour) { return photo::load_bytes(png_bytes(scene, {bits, colour, interlaced, {}}), "a.png").bgr; };
      CHECK(mean_difference(got(2), scene) == 0);
      CHECK(mean_difference(got(6), half_white) == 0);
      CHECK(mean_difference(got(0), grey) == 0);
      CHECK(mean_difference(got(4), half_grey) == 0);
      if (bits == 8) CHECK(mean_difference(got(3), palette) == 0);
    }
}

TEST_CASE("TIFF in 8 and 16 bits and WebP come out as they went in") {
  TempFolder folder;
  const auto scene = corners(64, 48);
  for (const int bits : {8, 16}) {
    const auto loaded = photo::load_bytes(tiff_bytes(scene, bits, folder / "a.tif"), "a.tif");
    CHECK(mean_difference(loaded.bgr, scene) <= 0.5);
    CHECK(loaded.info.format == photo::Format::tiff);
    CHECK(loaded.info.camera_make == "Maker");
  }
  CHECK(mean_difference(photo::load_bytes(webp_bytes(scene), "a.webp").bgr, scene) == 0);
}

TEST_CASE("HEIC is turned once, by its container, whatever its EXIF says") {
  TempFolder folder;
  const auto scene = corners(128, 96);
  cv::Mat turned;
  cv::rotate(scene, turned, cv::ROTATE_90_COUNTERCLOCKWISE);
  for (const int turns : {0, 1}) {
    const auto bytes = heic_bytes(scene, turns, folder / "a.heic");
    if (bytes.empty()) {
      WARN("skipped: this libheif writes no HEVC");
      return;
    }
    const auto loaded = photo::load_bytes(bytes, "a.heic");
    INFO("turns " << turns);
    CHECK(loaded.info.taken->iso() == "2026-03-02T10:14:00");
    CHECK(loaded.info.width_px == loaded.bgr.cols);
    CHECK(mean_difference(loaded.bgr, turns == 0 ? scene : turned) < 4);
  }
}

TEST_CASE("Display P3 is converted to sRGB by the published primaries") {
  // Linear P3 -> linear sRGB from the primaries of SMPTE EG 432-1 and IEC 61966-2-1 (both D65), derived here by hand:
  // the product of their RGB -> XYZ matrices, three digits.
  const double m[3][3] = {{1.2249, -0.2247, 0.0}, {-0.0420, 1.0419, 0.0}, {-0.0197, -0.0786, 1.0979}};
  const auto to_linear = [](double v) { return v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4); };
  const auto to_srgb = [](double v) { return v <= 0.0031308 ? v * 12.92 : 1.055 * std::pow(v, 1 / 2.4) - 0.055; };
  for (const auto& rgb : std::vector<cv::Vec3i>{{180, 60, 50}, {90, 140, 100}, {128, 128, 128}, {200, 180, 90}}) {
    const cv::Mat flat(16, 16, CV_8UC3, cv::Scalar(rgb[2], rgb[1], rgb[0]));
    const auto loaded = photo::load_bytes(png_bytes(flat, {8, 2, false, display_p3_icc()}), "a.png");
    const auto pixel = loaded.bgr.at<cv::Vec3b>(8, 8);
    for (int i = 0; i < 3; ++i) {
      double linear = 0;
      for (int j = 0; j < 3; ++j) linear += m[i][j] * to_linear(rgb[j] / 255.0);
      CHECK(std::abs(pixel[2 - i] - 255 * to_srgb(std::max(0.0, linear))) < 1.6);
    }
  }
}

TEST_CASE("a broken colour profile is told and the photo is taken as sRGB") {
  const auto scene = corners(40, 30);
  const auto bytes = with_segment(photo::encode_jpeg(scene, 95), 0xE2, std::string("ICC_PROFILE\0\1\1", 14) + std::string(500, 'x'));
  const auto loaded = photo::load_bytes(bytes, "a.jpg");
  CHECK(loaded.info.colour_profile == "unreadable");
  CHECK(mean_difference(loaded.bgr, scene) < 2);
}

TEST_CASE("CMYK from a print shop comes out as colours, not turned round") {
  const auto loaded = photo::load_bytes(cmyk_jpeg(16, 16, 0, 255, 255, 0), "a.jpg");  // magenta + yellow: red
  const auto p = loaded.bgr.at<cv::Vec3b>(8, 8);
  CHECK(p[2] > 245);
  CHECK(p[1] < 10);
  CHECK(p[0] < 10);
}

TEST_CASE("a preview is at least as large as asked where the photo is, and says its scale") {
  TempFolder folder;
  const auto scene = corners(1600, 1200);
  write_file_whole(folder / "a.jpg", photo::encode_jpeg(scene, 92));
  const auto preview = photo::load_preview(folder / "a.jpg", 300);
  CHECK(preview.bgr.cols == 400);
  CHECK(preview.scale == Approx(0.25));
  CHECK(preview.info.width_px == 1600);
  cv::Mat small;
  cv::resize(scene, small, {400, 300}, 0, 0, cv::INTER_AREA);
  CHECK(mean_difference(preview.bgr, small) < 2);
  CHECK(photo::load_preview(folder / "a.jpg", 5000).bgr.cols == 1600);
  write_file_whole(folder / "a.png", photo::encode_png(scene));
  CHECK(photo::load_preview(folder / "a.png", 300).bgr.cols == 300);
}

TEST_CASE("what is encoded as PNG reads back the same and says its size") {
  const auto scene = corners(33, 21);
  const auto bytes = photo::encode_png(scene, 10);
  CHECK(mean_difference(photo::load_bytes(bytes, "a.png").bgr, scene) == 0);
  const auto at = bytes.find("pHYs");
  REQUIRE(at != std::string::npos);
  CHECK(bytes.substr(at + 4, 9) == std::string("\0\0\x27\x10\0\0\x27\x10\1", 9));  // 10 000 px a metre, PNG specification 11.3.5.3
}

TEST_CASE("every real photo of the shared sets loads to the size its header says") {
  const std::filesystem::path root = UROKO_SHARED_DATA;
  if (!std::filesystem::exists(root)) {
    WARN("skipped: no " << root);
    return;
  }
  int seen = 0;
  for (const auto* set : {"aruco_colorchecker", "lutseg_examples", "woundtissue_samples"})
    for (const auto& entry : std::filesystem::directory_iterator(root / set / "images")) {
      if (++seen % 6 != 0) continue;  // a sample: the suite stays quick
      const auto info = photo::probe(entry.path());
      const auto loaded = photo::load(entry.path());
      INFO(entry.path());
      CHECK(loaded.bgr.cols == info.width_px);
      CHECK(loaded.bgr.rows == info.height_px);
      CHECK(loaded.info.sha256 == info.sha256);
    }
  CHECK(seen > 20);
}
