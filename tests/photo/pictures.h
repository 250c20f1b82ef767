#pragma once
#include <filesystem>
#include <opencv2/core.hpp>
#include <string>
#include <string_view>

#include "uroko/base/error.h"
#include "uroko/photo/photo.h"

namespace uroko::testing {

/// A smooth picture without symmetry: each corner has its own colour, so that turning and mirroring show.
cv::Mat corners(int width, int height);

struct PngKind {
  int bits = 8;
  int colour = 2;  ///< PNG colour type: 0 grey, 2 RGB, 3 palette, 4 grey + alpha, 6 RGB + alpha
  bool interlaced = false;
  std::string icc;
};
/// PNG bytes written by libpng; alpha is 255 (or 65535) on the left half, 0 on the right.
std::string png_bytes(const cv::Mat& bgr, const PngKind& kind);
std::string tiff_bytes(const cv::Mat& bgr, int bits, const std::filesystem::path& scratch);
std::string webp_bytes(const cv::Mat& bgr);
/// Empty when this libheif has no HEVC encoder. `quarter_turns`: counter-clockwise turns stored in the container.
std::string heic_bytes(const cv::Mat& bgr, int quarter_turns, const std::filesystem::path& scratch);
std::string progressive_jpeg(const cv::Mat& bgr);
std::string cmyk_jpeg(int width, int height, int c, int m, int y, int k);
/// The JPEG with a segment put in behind SOI.
std::string with_segment(const std::string& jpeg, int marker, const std::string& payload);
/// A PNG that says this size and holds next to no pixels; checksums are right.
std::string png_header_only(unsigned width, unsigned height);
std::string display_p3_icc();

/// The code of the Error that loading gives, "" when it loads.
std::string load_code(const std::string& bytes, const std::string& name = "photo.jpg");

double mean_difference(const cv::Mat& a, const cv::Mat& b);

}  // namespace uroko::testing
