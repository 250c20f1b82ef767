#pragma once
#include <filesystem>
#include <opencv2/core.hpp>
#include <optional>
#include <string>
#include <string_view>

#include "uroko/base/date.h"
#include "uroko/base/result.h"
#include "uroko/photo/exif.h"

namespace uroko::photo {

enum class Format { jpeg, png, tiff, webp, heic };
const char* name(Format format);  ///< "JPEG", "PNG", "TIFF", "WebP", "HEIC"

/// What is known of a photo without its pixels. Sizes are after EXIF orientation.
struct PhotoInfo {
  std::filesystem::path file;
  Format format = Format::jpeg;
  int width_px = 0, height_px = 0;
  int orientation = 1;  ///< EXIF 1..8, as found; 1 for HEIC, whose own rotation stands in its container and is always applied
  std::string sha256;   ///< of the file's bytes
  std::uintmax_t bytes = 0;
  std::optional<DateTime> taken;
  DateSource taken_from = DateSource::none;
  std::string camera_make, camera_model, lens_model;
  std::optional<double> focal_mm;     ///< true focal length
  std::optional<double> focal35_mm;   ///< 35 mm equivalent
  std::string colour_profile;         ///< the profile's own name ("sRGB", "Display P3", ...); "none" without one, "unreadable" when it is broken (both taken as sRGB)
  bool has_position = false;          ///< GPS in EXIF
};

/// Pixels are 8-bit BGR in sRGB, upright.
struct Photo {
  PhotoInfo info;
  cv::Mat bgr;
};

/// A reduced picture for the screen: at least `max_side` on the longer side where the original has it, from the decoder's own scaling.
struct Preview {
  PhotoInfo info;
  cv::Mat bgr;
  double scale = 1;  ///< preview pixels per photo pixel
};

struct LoadLimits {
  std::uintmax_t max_bytes = std::uintmax_t{300} << 20;
  double max_megapixels = 120;
  int max_side_px = 30000;
};

/// Reads header, EXIF and hash, no pixels. Throws Error(Fault::input) with one of the codes missing, not-a-file, unreadable, empty,
/// unknown-format (by magic bytes; the file's extension is not believed), too-large, truncated, damaged, unsupported, too-slow, no-memory.
/// Decodes in a process of its own where there is one (worker.h).
PhotoInfo probe(const std::filesystem::path& file, const LoadLimits& limits = {});

/// Decodes the whole photo, strictly: truncated or damaged data is refused. Throws Error(Fault::input) as probe does.
/// Transparent parts come out over white; 16-bit, grey, palette and CMYK pixels come out as 8-bit BGR; an embedded ICC profile is
/// converted to sRGB (relative colorimetric with black-point compensation).
Photo load(const std::filesystem::path& file, const LoadLimits& limits = {});
/// The same from bytes already read; `file` names it in errors and gives the date of last resort.
Photo load_bytes(std::string_view bytes, const std::filesystem::path& file, const LoadLimits& limits = {});

Preview load_preview(const std::filesystem::path& file, int max_side_px, const LoadLimits& limits = {});

/// PNG bytes of an 8-bit BGR, BGRA or grey picture; `px_per_mm` > 0 writes pHYs.
std::string encode_png(const cv::Mat& picture, double px_per_mm = 0);
/// Baseline JPEG bytes, 4:4:4, quality 1..100, no metadata.
std::string encode_jpeg(const cv::Mat& bgr, int quality);
/// The same with date, camera and focal length in an EXIF segment.
std::string encode_jpeg_with_exif(const cv::Mat& bgr, int quality, const ExifFields& fields);

/// The photo's bytes without position, names, notes and embedded second pictures, its pixel data untouched: for JPEG the EXIF is written
/// anew with date, camera, focal length and orientation only, XMP, IPTC and comments are left out and what follows the picture is cut;
/// PNG and WebP lose EXIF, XMP and text. Refuses other formats ("format") and damaged files ("damaged").
Result<std::string> without_position(std::string_view bytes);

}  // namespace uroko::photo
