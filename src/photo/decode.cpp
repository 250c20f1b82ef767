#include <algorithm>
#include <array>
#include <opencv2/imgproc.hpp>

#include "photo/decode.h"
#include "uroko/base/text.h"

namespace uroko::photo {

namespace {

constexpr std::array<const char*, 5> kFormats = {"JPEG", "PNG", "TIFF", "WebP", "HEIC"};

/// No photo may make the program ask for more than this, whatever its header says.
constexpr std::int64_t kMostBytes = std::int64_t{480} << 20;

Header header_of(const Source& source, const LoadLimits& limits) {
  if (source.bytes.empty()) source.refuse("empty", "is empty", "copy it again from the camera or phone");
  Header header;
  switch (format_of(source)) {
    case Format::jpeg: header = jpeg_header(source); break;
    case Format::png: header = png_header(source); break;
    case Format::tiff: header = tiff_header(source); break;
    case Format::webp: header = webp_header(source); break;
    case Format::heic: header = heic_header(source); break;
  }
  if (header.width <= 0 || header.height <= 0) source.damaged("it says that it is " + std::to_string(header.width) + " x " + std::to_string(header.height) + " pixels");
  const double pixels = double(header.width) * double(header.height);
  if (pixels > limits.max_megapixels * 1e6 || std::max(header.width, header.height) > limits.max_side_px || header.decoder_bytes + bytes_for(header.width, header.height, 3) > kMostBytes)
    source.refuse("too-large", "is " + std::to_string(header.width) + " x " + std::to_string(header.height) + " pixels, more than uroko takes",
                  "save a copy of at most " + number_text(limits.max_megapixels) + " megapixels and " + std::to_string(limits.max_side_px) + " pixels a side");
  if (header.end == 0) source.truncated();
  if (!header.fault.empty()) source.damaged(header.fault);
  return header;
}

PhotoInfo info_of(const Source& source, const Header& header) {
  PhotoInfo out;
  out.format = header.format;
  out.bytes = source.bytes.size();
  const auto exif = read_exif(header.exif_bytes());
  out.orientation = header.format == Format::heic ? 1 : exif.orientation;
  const bool turned = out.orientation >= 5;
  out.width_px = static_cast<int>(turned ? header.height : header.width);
  out.height_px = static_cast<int>(turned ? header.width : header.height);
  out.camera_make = exif.make;
  out.camera_model = exif.model;
  out.lens_model = exif.lens_model;
  out.focal_mm = exif.focal_mm;
  out.focal35_mm = exif.focal35_mm;
  out.has_position = exif.has_position;
  if ((out.taken = exif.taken)) out.taken_from = exif.taken_from;
  return out;
}

Pixels decoded(const Source& source, const Header& header, int shrink) {
  switch (header.format) {
    case Format::jpeg: return decode_jpeg(source, header, shrink);
    case Format::png: return decode_png(source, header);
    case Format::tiff: return decode_tiff(source, header);
    case Format::webp: return decode_webp(source, header);
    case Format::heic: return decode_heic(source, header);
  }
  source.damaged("its format is not known");
}

/// Decoder trouble that is none of the photo's doing still ends in one clear line.
template <class F>
auto guarded(const Source& source, F&& f) {
  try {
    return f();
  } catch (const std::bad_alloc&) {
    source.refuse("no-memory", "needs more memory than there is", "close other programs or save the photo smaller");
  } catch (const cv::Exception& e) {
    if (e.code == cv::Error::StsNoMem) source.refuse("no-memory", "needs more memory than there is", "close other programs or save the photo smaller");
    source.damaged(e.err);
  }
}

}  // namespace

const char* name(Format format) { return kFormats[static_cast<std::size_t>(format)]; }

Format format_of(const Source& source) {
  const auto& b = source.bytes;
  const auto starts = [&](std::string_view magic) { return b.starts_with(magic); };
  if (starts("\xFF\xD8\xFF")) return Format::jpeg;
  if (starts("\x89PNG\r\n\x1a\n")) return Format::png;
  if (starts(std::string_view("II*\0", 4)) || starts(std::string_view("MM\0*", 4))) return Format::tiff;
  if (starts("RIFF") && b.size() >= 12 && b.substr(8, 4) == "WEBP") return Format::webp;
  std::string what = "is not a photo of a kind that uroko reads";
  if (b.size() >= 12 && b.substr(4, 4) == "ftyp") {
    const auto brand = b.substr(8, 4);
    for (const char* heic : {"heic", "heix", "heim", "heis", "hevc", "hevx", "mif1"})
      if (brand == heic) return Format::heic;
    what = brand == "avif" || brand == "avis" ? "is an AVIF picture" : "is a video or another kind of film file";
  } else if (starts("GIF8")) {
    what = "is a GIF picture";
  } else if (starts("BM")) {
    what = "is a BMP picture";
  } else if (starts("%PDF")) {
    what = "is a PDF document";
  } else if (std::string_view(b.substr(0, 512)).find('\0') == std::string_view::npos &&
             std::all_of(b.begin(), b.begin() + static_cast<std::ptrdiff_t>(std::min<std::size_t>(b.size(), 512)),
                         [](unsigned char c) { return c >= 32 || c == '\n' || c == '\r' || c == '\t'; })) {
    what = "holds text, not a photo";
  }
  source.refuse("unknown-format", what, "give a JPEG, PNG, TIFF, WebP or HEIC photo");
}

Loaded decode_here(const Source& source, const Job& job, void (*header_known)(const Header&)) {
  return guarded(source, [&] {
    const auto header = header_of(source, job.limits);
    if (header_known != nullptr) header_known(header);
    Loaded out{info_of(source, header), {}};
    if (job.deed == Job::Deed::probe) {
      out.info.colour_profile = icc_name(header.icc);
      return out;
    }
    const int max_side_px = job.deed == Job::Deed::preview ? std::max(1, job.max_side_px) : 0;
    int shrink = 1;
    if (max_side_px > 0 && header.format == Format::jpeg)
      while (shrink < 8 && std::max(header.width, header.height) / (2 * shrink) >= max_side_px) shrink *= 2;
    auto pixels = decoded(source, header, shrink);
    if (max_side_px > 0 && shrink == 1 && pixels.space == Pixels::Space::bgr) {
      const double factor = double(max_side_px) / std::max(pixels.mat.cols, pixels.mat.rows);
      if (factor <= 0.5) cv::resize(pixels.mat, pixels.mat, {}, factor, factor, cv::INTER_AREA);
    }
    out.bgr = upright(to_srgb(std::move(pixels), header.icc, out.info.colour_profile), out.info.orientation);
    return out;
  });
}

}  // namespace uroko::photo
