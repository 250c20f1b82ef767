#pragma once
#include <filesystem>
#include <opencv2/core.hpp>
#include <optional>
#include <string>

#include "uroko/base/date.h"

namespace uroko::photo {

enum class Format { jpeg, png, tiff, webp, heic };

/// Where a date came from, most trusted first. Messengers strip EXIF and file times lie, so it is stored.
enum class DateSource { user, exif, exif_digitised, file_name, file_time, none };
const char* name(DateSource source);  ///< "user", "exif", "exif-digitised", "file-name", "file-time", "none"
std::optional<DateSource> date_source_named(std::string_view name);

/// What is known of a photo without its pixels. Sizes are after EXIF orientation.
struct PhotoInfo {
  std::filesystem::path file;
  Format format = Format::jpeg;
  int width_px = 0, height_px = 0;
  int orientation = 1;  ///< EXIF 1..8, as found
  std::string sha256;   ///< of the file's bytes
  std::uintmax_t bytes = 0;
  std::optional<DateTime> taken;
  DateSource taken_from = DateSource::none;
  std::string camera_make, camera_model, lens_model;
  std::optional<double> focal_mm;     ///< true focal length
  std::optional<double> focal35_mm;   ///< 35 mm equivalent
  std::string colour_profile;         ///< "sRGB", "Display P3", ...; "none" when the file has none
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

/// Reads header, EXIF and hash, no pixels. Throws Error(Fault::input): missing, empty, unknown format (by magic bytes),
/// over the limits, damaged header.
PhotoInfo probe(const std::filesystem::path& file, const LoadLimits& limits = {});

/// Decodes the whole photo, strictly: truncated or damaged data is refused. Throws Error(Fault::input).
Photo load(const std::filesystem::path& file, const LoadLimits& limits = {});
/// The same from bytes already read; `file` names it in errors and gives the date of last resort.
Photo load_bytes(std::string_view bytes, const std::filesystem::path& file, const LoadLimits& limits = {});

Preview load_preview(const std::filesystem::path& file, int max_side_px, const LoadLimits& limits = {});

/// PNG bytes of an 8-bit BGR, BGRA or grey picture; `px_per_mm` > 0 writes pHYs.
std::string encode_png(const cv::Mat& picture, double px_per_mm = 0);
/// Baseline JPEG bytes, 4:4:4, quality 1..100, no metadata.
std::string encode_jpeg(const cv::Mat& bgr, int quality);

}  // namespace uroko::photo
