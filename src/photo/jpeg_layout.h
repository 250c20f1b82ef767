#pragma once
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace uroko::photo {

/// The segments of a JPEG file (ITU-T T.81 annex B), read without decoding. Damage is told by `fault`.
struct JpegLayout {
  enum class Fault { none, truncated, no_frame, bad_segment, bad_profile } fault = Fault::none;
  struct Segment {
    int marker = 0;
    std::size_t at = 0, size = 0;  ///< from the 0xFF on, length field included; for SOS the coded data too
  };
  std::vector<Segment> segments;
  std::size_t end = 0;  ///< behind EOI
  int width = 0, height = 0, components = 0, precision = 0, scans = 0;
  bool progressive = false;
  std::int64_t coefficients = 0;  ///< samples of all components after padding to blocks
  std::string_view exif;          ///< TIFF structure
  std::string icc;
};
JpegLayout read_jpeg_layout(std::string_view bytes);

}  // namespace uroko::photo
