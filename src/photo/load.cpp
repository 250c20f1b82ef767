#include <sys/stat.h>

#include <algorithm>
#include <array>
#include <ctime>
#include <future>
#include <opencv2/imgproc.hpp>

#include "photo/source.h"
#include "uroko/base/file.h"
#include "uroko/base/text.h"

namespace uroko::photo {

namespace {

namespace fs = std::filesystem;

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

std::optional<DateTime> file_time(const fs::path& file) {
  struct stat st {};
  if (::stat(file.c_str(), &st) != 0) return std::nullopt;
  std::tm local{};
  if (::localtime_r(&st.st_mtime, &local) == nullptr) return std::nullopt;
  DateTime t;
  t.year = local.tm_year + 1900;
  t.month = local.tm_mon + 1;
  t.day = local.tm_mday;
  t.has_time = true;
  t.hour = local.tm_hour;
  t.minute = local.tm_min;
  t.second = local.tm_sec;
  return t;
}

PhotoInfo info_of(const Source& source, const Header& header) {
  PhotoInfo out;
  out.file = source.file;
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
  if ((out.taken = exif.taken)) {
    out.taken_from = exif.taken_from;
  } else if ((out.taken = date_from_file_name(source.file))) {
    out.taken_from = DateSource::file_name;
  } else if ((out.taken = file_time(source.file))) {
    out.taken_from = DateSource::file_time;
  }
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

struct Loaded {
  PhotoInfo info;
  cv::Mat bgr;
};

Loaded load_shrunk(const Source& source, const LoadLimits& limits, int max_side_px) {
  return guarded(source, [&] {
    const auto header = header_of(source, limits);
    auto hash = std::async(std::launch::async, [&] { return sha256_hex(source.bytes); });
    Loaded out{info_of(source, header), {}};
    int shrink = 1;
    if (max_side_px > 0 && header.format == Format::jpeg)
      while (shrink < 8 && std::max(header.width, header.height) / (2 * shrink) >= max_side_px) shrink *= 2;
    auto pixels = decoded(source, header, shrink);
    if (max_side_px > 0 && shrink == 1 && pixels.space == Pixels::Space::bgr) {
      const double factor = double(max_side_px) / std::max(pixels.mat.cols, pixels.mat.rows);
      if (factor <= 0.5) cv::resize(pixels.mat, pixels.mat, {}, factor, factor, cv::INTER_AREA);
    }
    out.bgr = upright(to_srgb(std::move(pixels), header.icc, out.info.colour_profile), out.info.orientation);
    out.info.sha256 = hash.get();
    return out;
  });
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

PhotoInfo probe(const fs::path& file, const LoadLimits& limits) {
  const std::string bytes = read_file(file, limits.max_bytes);
  const Source source{bytes, file};
  return guarded(source, [&] {
    const auto header = header_of(source, limits);
    auto info = info_of(source, header);
    info.colour_profile = icc_name(header.icc);
    info.sha256 = sha256_hex(bytes);
    return info;
  });
}

Photo load_bytes(std::string_view bytes, const fs::path& file, const LoadLimits& limits) {
  auto loaded = load_shrunk(Source{bytes, file}, limits, 0);
  return {std::move(loaded.info), std::move(loaded.bgr)};
}

Photo load(const fs::path& file, const LoadLimits& limits) { return load_bytes(read_file(file, limits.max_bytes), file, limits); }

Preview load_preview(const fs::path& file, int max_side_px, const LoadLimits& limits) {
  const std::string bytes = read_file(file, limits.max_bytes);
  auto loaded = load_shrunk(Source{bytes, file}, limits, std::max(1, max_side_px));
  const double scale = double(std::max(loaded.bgr.cols, loaded.bgr.rows)) / std::max(loaded.info.width_px, loaded.info.height_px);
  return {std::move(loaded.info), std::move(loaded.bgr), scale};
}

}  // namespace uroko::photo
