#include <algorithm>
#include <array>

#include "photo/jpeg_layout.h"
#include "photo/source.h"

namespace uroko::photo {

namespace {

const Refusal kDamaged{"damaged", "the photo's structure cannot be read to its end", "use a photo that opens"};

/// What may be told to others: when and with which camera, which way up.
ExifFields harmless(std::string_view tiff) {
  auto fields = read_exif(tiff);
  fields.has_position = false;
  return fields;
}

Result<std::string> jpeg(std::string_view bytes) {
  const auto layout = read_jpeg_layout(bytes);
  if (layout.fault != JpegLayout::Fault::none) return kDamaged;
  std::string out("\xFF\xD8", 2);
  if (!layout.exif.empty()) {
    const std::string body = std::string("Exif\0\0", 6) + write_exif(harmless(layout.exif));
    const auto length = body.size() + 2;
    out += {'\xFF', '\xE1', static_cast<char>(length >> 8), static_cast<char>(length & 255)};
    out += body;
  }
  for (const auto& s : layout.segments) {
    const auto data = bytes.substr(s.at + 4, s.size - 4);
    const bool application = s.marker >= 0xE0 && s.marker <= 0xEF;
    // Kept: JFIF (APP0), the colour profile (APP2), Adobe's colour transform (APP14). Comments go.
    const bool kept = s.marker == 0xE0 || s.marker == 0xEE || (s.marker == 0xE2 && data.starts_with(std::string_view("ICC_PROFILE\0", 12)));
    if ((application && !kept) || s.marker == 0xFE) continue;
    out += bytes.substr(s.at, s.size);
  }
  return out + std::string("\xFF\xD9", 2);
}

Result<std::string> png(std::string_view bytes) {
  constexpr std::array<std::string_view, 5> dropped = {"eXIf", "tEXt", "zTXt", "iTXt", "tIME"};
  std::string out(bytes.substr(0, 8));
  for (std::size_t at = 8; bytes.size() - at >= 12;) {
    const std::size_t length = be32(bytes, at);
    if (length > bytes.size() - at - 12) break;
    const auto kind = bytes.substr(at + 4, 4);
    if (std::find(dropped.begin(), dropped.end(), kind) == dropped.end()) out += bytes.substr(at, 12 + length);
    at += 12 + length;
    if (kind == "IEND") return out;
  }
  return kDamaged;
}

Result<std::string> webp(std::string_view bytes) {
  const std::size_t whole = std::size_t{le32(bytes, 4)} + 8;
  if (whole > bytes.size()) return kDamaged;
  std::string body("WEBP");
  for (std::size_t at = 12; at + 8 <= whole;) {
    const std::size_t length = le32(bytes, at + 4), padded = length + length % 2;
    if (padded > whole - at - 8) return kDamaged;
    const auto kind = bytes.substr(at, 4);
    if (kind != "EXIF" && kind != "XMP ") {
      const std::size_t here = body.size();
      body += bytes.substr(at, 8 + padded);
      if (kind == "VP8X" && length >= 1) body[here + 8] = static_cast<char>(body[here + 8] & ~0x0C);  // RFC 9649: EXIF and XMP flags
    }
    at += 8 + padded;
  }
  std::string out("RIFF");
  for (int shift = 0; shift < 32; shift += 8) out += static_cast<char>(body.size() >> shift & 255);
  return out + body;
}

}  // namespace

Result<std::string> without_position(std::string_view bytes) {
  static const std::filesystem::path nowhere;
  try {
    switch (format_of({bytes, nowhere})) {
      case Format::jpeg: return jpeg(bytes);
      case Format::png: return png(bytes);
      case Format::webp: return webp(bytes);
      default: return Refusal{"format", "metadata can only be taken out of JPEG, PNG and WebP", "export the photo as a JPEG"};
    }
  } catch (const Error&) {
    return kDamaged;
  }
}

}  // namespace uroko::photo
