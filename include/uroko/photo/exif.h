#pragma once
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

#include "uroko/base/date.h"

namespace uroko::photo {

/// Where a date came from, most trusted first. Messengers strip EXIF and file times lie, so it is stored.
enum class DateSource { user, exif, exif_digitised, file_name, file_time, none };
const char* name(DateSource source);  ///< "user", "exif", "exif-digitised", "file-name", "file-time", "none"
std::optional<DateSource> date_source_named(std::string_view name);

/// What uroko reads from a photo's EXIF and writes into its own sample images (CIPA DC-008, Exif 2.32).
struct ExifFields {
  std::optional<DateTime> taken;
  DateSource taken_from = DateSource::none;  ///< exif or exif_digitised where `taken` is set
  std::string make, model, lens_model;
  std::optional<double> focal_mm, focal35_mm;  ///< true focal length; 35 mm equivalent
  int orientation = 1;                         ///< 1..8
  bool has_position = false;                   ///< a GPS latitude or longitude is there
};

/// Reads a TIFF structure from its byte-order mark on (the payload of a JPEG's APP1 after "Exif\0\0", or a whole TIFF file). Bounded: looks at
/// the first directory and its EXIF and GPS directories only, so loops between directories cannot hold it. Damaged parts are left out; never throws.
ExifFields read_exif(std::string_view tiff);

/// The TIFF structure for these fields (little-endian, without "Exif\0\0"). `has_position` is ignored: a position is never written.
std::string write_exif(const ExifFields& fields);

/// A date in a file's name, such as IMG_20260302_101400.jpg, PXL_20260302_101400123.jpg, 2026-03-02 10.14.00.png, IMG-20260302-WA0007.jpg (date only).
/// Years 1990 to 2099. Nothing when there is none or the date does not exist.
std::optional<DateTime> date_from_file_name(const std::filesystem::path& file);

}  // namespace uroko::photo
