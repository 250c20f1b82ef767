#pragma once
#include <cstdint>
#include <filesystem>
#include <opencv2/core.hpp>
#include <string>
#include <string_view>

#include "uroko/base/error.h"
#include "uroko/photo/photo.h"

// Shared by the decoders of this room; not for other rooms.
namespace uroko::photo {

/// A file's bytes and the name that errors tell.
struct Source {
  std::string_view bytes;
  const std::filesystem::path& file;

  [[noreturn]] void refuse(std::string code, std::string happened, std::string advice) const {
    throw Error(Fault::input, std::move(code), file, std::move(happened), std::move(advice));
  }
  [[noreturn]] void damaged(const std::string& detail) const { refuse("damaged", "is damaged (" + detail + ")", "copy it again from the camera or phone"); }
  [[noreturn]] void truncated() const { refuse("truncated", "is cut short: the end of the picture is missing", "copy it again from the camera or phone"); }
  [[noreturn]] void unsupported(const std::string& detail) const { refuse("unsupported", detail, "save it as an ordinary JPEG or PNG and use that"); }
};

/// What stands before the pixels. Sizes as stored, before EXIF orientation.
struct Header {
  Format format = Format::jpeg;
  std::int64_t width = 0, height = 0;
  std::string icc;                ///< embedded profile, empty when there is none
  std::string_view exif;          ///< TIFF structure within the file's bytes
  std::string exif_copy;          ///< the same when the container does not hold it in one piece
  std::size_t end = 0;            ///< where the picture ends; other data may follow
  std::string fault;              ///< damage that is told only when the size is within the limits
  std::int64_t decoder_bytes = 0; ///< what the decoder itself will need beside the picture
  std::string_view exif_bytes() const { return exif_copy.empty() ? exif : std::string_view(exif_copy); }
};

/// Pixels as the decoder gives them.
struct Pixels {
  enum class Space { bgr, cmyk } space = Space::bgr;  ///< cmyk: 0 no ink .. 255 full ink
  cv::Mat mat;
};

/// width x height x `each`, held at a value that no limit allows where a header's sizes would overflow.
inline std::int64_t bytes_for(std::int64_t width, std::int64_t height, int each) {
  constexpr std::int64_t most_side = 1 << 24;
  if (width > most_side || height > most_side) return std::int64_t{1} << 60;
  return width * height * each;
}

Format format_of(const Source& source);

Header jpeg_header(const Source& source);
Header png_header(const Source& source);
Header tiff_header(const Source& source);
Header webp_header(const Source& source);
Header heic_header(const Source& source);

/// `shrink`: 1, 2, 4 or 8, done by the decoder.
Pixels decode_jpeg(const Source& source, const Header& header, int shrink);
Pixels decode_png(const Source& source, const Header& header);
Pixels decode_tiff(const Source& source, const Header& header);
Pixels decode_webp(const Source& source, const Header& header);
Pixels decode_heic(const Source& source, const Header& header);

/// BGR in sRGB. `profile_name` gets what PhotoInfo::colour_profile tells.
cv::Mat to_srgb(Pixels pixels, const std::string& icc, std::string& profile_name);
std::string icc_name(const std::string& icc);
/// ICC profile for the primaries of ITU-T H.273 code points (HEIC's nclx); empty when they are sRGB's or unknown.
std::string icc_for_primaries(int primaries);

/// Straight-alpha BGRA over white; BGR as it is.
cv::Mat over_white(const cv::Mat& picture);
cv::Mat upright(const cv::Mat& picture, int orientation);

inline std::uint32_t be16(std::string_view b, std::size_t at) { return static_cast<unsigned char>(b[at]) << 8 | static_cast<unsigned char>(b[at + 1]); }
inline std::uint32_t be32(std::string_view b, std::size_t at) { return be16(b, at) << 16 | be16(b, at + 2); }
inline std::uint32_t le32(std::string_view b, std::size_t at) {
  const auto u = [&](std::size_t i) { return std::uint32_t{static_cast<unsigned char>(b[at + i])}; };
  return u(0) | u(1) << 8 | u(2) << 16 | u(3) << 24;
}

}  // namespace uroko::photo
