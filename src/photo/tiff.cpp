#include <tiffio.h>

#include <cstring>
#include <memory>

#include "photo/source.h"

namespace uroko::photo {

namespace {

/// The file in memory, and what libtiff complained of.
struct Memory {
  std::string_view bytes;
  std::size_t at = 0;
  std::string error;
};

tsize_t read(thandle_t handle, void* out, tsize_t size) {
  auto& memory = *static_cast<Memory*>(handle);
  if (memory.at >= memory.bytes.size() || size <= 0) return 0;
  const auto n = std::min<std::size_t>(static_cast<std::size_t>(size), memory.bytes.size() - memory.at);
  std::memcpy(out, memory.bytes.data() + memory.at, n);
  memory.at += n;
  return static_cast<tsize_t>(n);
}
tsize_t no_write(thandle_t, void*, tsize_t) { return 0; }
toff_t seek(thandle_t handle, toff_t offset, int whence) {
  auto& memory = *static_cast<Memory*>(handle);
  const toff_t base = whence == SEEK_CUR ? memory.at : whence == SEEK_END ? memory.bytes.size() : 0;
  return memory.at = base + offset;
}
int no_close(thandle_t) { return 0; }
toff_t size(thandle_t handle) { return static_cast<Memory*>(handle)->bytes.size(); }
int no_map(thandle_t, void**, toff_t*) { return 0; }
void no_unmap(thandle_t, void*, toff_t) {}

int on_error(TIFF*, void* user, const char*, const char* format, va_list arguments) {
  auto& memory = *static_cast<Memory*>(user);
  char text[200];
  std::vsnprintf(text, sizeof text, format, arguments);
  if (memory.error.empty()) memory.error = text;
  return 1;
}
int on_warning(TIFF*, void*, const char*, const char*, va_list) { return 1; }

struct Close {
  void operator()(TIFF* tiff) const { TIFFClose(tiff); }
};
using Handle = std::unique_ptr<TIFF, Close>;

Handle open(Memory& memory) {
  TIFFOpenOptions* options = TIFFOpenOptionsAlloc();
  TIFFOpenOptionsSetErrorHandlerExtR(options, on_error, &memory);
  TIFFOpenOptionsSetWarningHandlerExtR(options, on_warning, &memory);
  TIFFOpenOptionsSetMaxSingleMemAlloc(options, std::int64_t{512} << 20);
  Handle tiff(TIFFClientOpenExt("photo", "rm", &memory, read, no_write, seek, no_close, size, no_map, no_unmap, options));
  TIFFOpenOptionsFree(options);
  return tiff;
}

bool out_of_data(const std::string& error) {
  return error.find("Read error") != std::string::npos || error.find("not enough data") != std::string::npos || error.find("got ") != std::string::npos ||
         error.find("Cannot read TIFF directory") != std::string::npos || error.find("seek") != std::string::npos;
}

[[noreturn]] void refuse(const Source& source, const Memory& memory) {
  if (out_of_data(memory.error)) source.truncated();
  source.damaged(memory.error.empty() ? "its TIFF directory cannot be read" : memory.error);
}

}  // namespace

Header tiff_header(const Source& source) {
  Memory memory{source.bytes, 0, {}};
  const auto tiff = open(memory);
  if (!tiff) refuse(source, memory);
  Header out;
  out.format = Format::tiff;
  std::uint32_t width = 0, height = 0, kind = 0;
  std::uint16_t depth = 1, sample_format = SAMPLEFORMAT_UINT;
  if (TIFFGetField(tiff.get(), TIFFTAG_IMAGEWIDTH, &width) == 0 || TIFFGetField(tiff.get(), TIFFTAG_IMAGELENGTH, &height) == 0)
    source.damaged("its TIFF directory names no size");
  TIFFGetFieldDefaulted(tiff.get(), TIFFTAG_BITSPERSAMPLE, &depth);
  TIFFGetFieldDefaulted(tiff.get(), TIFFTAG_SAMPLEFORMAT, &sample_format);
  TIFFGetFieldDefaulted(tiff.get(), TIFFTAG_SUBFILETYPE, &kind);
  std::uint16_t count = 0;
  void* version = nullptr;
  // A camera's raw file is a TIFF whose first picture is a small preview: measuring that would be wrong by the reduction.
  if ((kind & FILETYPE_REDUCEDIMAGE) != 0 || TIFFGetField(tiff.get(), TIFFTAG_DNGVERSION, &count, &version) != 0 || (source.bytes.size() > 10 && source.bytes.substr(8, 2) == "CR"))
    source.unsupported("is a camera raw file, or a TIFF that begins with a reduced picture");
  if (sample_format != SAMPLEFORMAT_UINT) source.unsupported("is a TIFF whose samples are not whole numbers");
  out.width = width;
  out.height = height;
  std::uint32_t length = 0;
  void* profile = nullptr;
  if (TIFFGetField(tiff.get(), TIFFTAG_ICCPROFILE, &length, &profile) != 0) out.icc.assign(static_cast<char*>(profile), length);
  out.exif = source.bytes;
  out.end = source.bytes.size();
  out.decoder_bytes = bytes_for(out.width, out.height, 4);
  return out;
}

Pixels decode_tiff(const Source& source, const Header& header) {
  Memory memory{source.bytes, 0, {}};
  const auto tiff = open(memory);
  if (!tiff) refuse(source, memory);
  char why[1024] = "";
  TIFFRGBAImage image;
  if (TIFFRGBAImageOK(tiff.get(), why) == 0 || TIFFRGBAImageBegin(&image, tiff.get(), 1, why) == 0) source.unsupported(std::string("is a TIFF of a kind that is not read (") + why + ")");
  image.req_orientation = image.orientation;  // as stored: the loader turns every format in one place
  cv::Mat rgba(static_cast<int>(header.height), static_cast<int>(header.width), CV_8UC4);
  const int done = TIFFRGBAImageGet(&image, rgba.ptr<std::uint32_t>(), static_cast<std::uint32_t>(header.width), static_cast<std::uint32_t>(header.height));
  const bool transparent = image.alpha != 0;
  TIFFRGBAImageEnd(&image);
  if (done == 0 || !memory.error.empty()) refuse(source, memory);
  Pixels out;
  out.mat.create(rgba.size(), CV_8UC3);
  for (int y = 0; y < rgba.rows; ++y) {
    const auto* in = rgba.ptr(y);
    auto* to = out.mat.ptr(y);
    for (int x = 0; x < rgba.cols; ++x, in += 4, to += 3) {
      const int over_white = transparent ? 255 - in[3] : 0;  // libtiff gives premultiplied alpha
      to[0] = cv::saturate_cast<uchar>(in[2] + over_white);
      to[1] = cv::saturate_cast<uchar>(in[1] + over_white);
      to[2] = cv::saturate_cast<uchar>(in[0] + over_white);
    }
  }
  return out;
}

}  // namespace uroko::photo
