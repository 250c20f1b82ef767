#include <png.h>

#include <csetjmp>
#include <cmath>
#include <cstring>
#include <vector>

#include "photo/source.h"

namespace uroko::photo {

namespace {

struct Trouble {
  std::jmp_buf jump;
  char text[200];
};

void leave(png_structp png, png_const_charp text) {
  auto* trouble = static_cast<Trouble*>(png_get_error_ptr(png));
  std::strncpy(trouble->text, text, sizeof trouble->text - 1);
  std::longjmp(trouble->jump, 1);
}
void silent(png_structp, png_const_charp) {}

struct Reader {
  std::string_view bytes;
  std::size_t at = 0;
};
void give(png_structp png, png_bytep out, png_size_t size) {
  auto* reader = static_cast<Reader*>(png_get_io_ptr(png));
  if (reader->bytes.size() - reader->at < size) png_error(png, "end of file");
  std::memcpy(out, reader->bytes.data() + reader->at, size);
  reader->at += size;
}

/// Owns libpng's reading state; declared before setjmp, so a jump never skips it.
struct Reading {
  png_structp png = nullptr;
  png_infop info = nullptr;
  ~Reading() { png_destroy_read_struct(&png, &info, nullptr); }
};

void open(Reading& reading, Trouble& trouble, Reader& reader) {
  reading.png = png_create_read_struct(PNG_LIBPNG_VER_STRING, &trouble, leave, silent);
  reading.info = reading.png != nullptr ? png_create_info_struct(reading.png) : nullptr;
  if (reading.info == nullptr) throw std::bad_alloc();
  png_set_user_limits(reading.png, 1000000, 1000000);  // the caller has judged the size already
  png_set_chunk_malloc_max(reading.png, 8 << 20);
  png_set_chunk_cache_max(reading.png, 64);
  png_set_read_fn(reading.png, &reader, give);
}

}  // namespace

Header png_header(const Source& source) {
  const auto& bytes = source.bytes;
  Header out;
  out.format = Format::png;
  if (bytes.size() < 33 || bytes.substr(12, 4) != "IHDR") source.truncated();
  out.width = be32(bytes, 16);
  out.height = be32(bytes, 20);
  const int depth = static_cast<unsigned char>(bytes[24]), colour = static_cast<unsigned char>(bytes[25]);
  if (out.width > 0x7fffffff || out.height > 0x7fffffff) source.damaged("its size cannot be");
  if ((colour & 4) != 0) out.decoder_bytes = bytes_for(out.width, out.height, 4);
  std::size_t at = 8, coded = 0;
  bool ended = false;
  while (!ended) {
    if (bytes.size() - at < 12) break;
    const std::size_t length = be32(bytes, at);
    const auto kind = bytes.substr(at + 4, 4);
    if (length > 0x7fffffff || length > bytes.size() - at - 12) break;
    if (kind == "IDAT") coded += length;
    if (kind == "tRNS") out.decoder_bytes = bytes_for(out.width, out.height, 4);
    if (kind == "eXIf") out.exif = bytes.substr(at + 8, length);
    at += 12 + length;
    ended = kind == "IEND";
  }
  out.end = ended ? at : 0;
  if (!ended) return out;  // the caller judges the size first: "too large" says more than "cut short"
  // Deflate cannot grow data more than 1032 times (zlib's technical notes): rows that are not there need not be decoded.
  const int channels = colour == 2 ? 3 : colour == 4 ? 2 : colour == 6 ? 4 : 1;
  const double raw = double(out.height) * (1 + std::ceil(double(out.width) * channels * depth / 8));
  if (raw > 1032.0 * double(coded) + 1e4) {
    out.fault = "it holds less data than its size asks for";
    return out;
  }

  Reading reading;
  Trouble trouble{};
  Reader reader{bytes};
  if (setjmp(trouble.jump) != 0) {
    out.fault = trouble.text;
    return out;
  }
  open(reading, trouble, reader);
  png_read_info(reading.png, reading.info);
  png_charp name = nullptr;
  int compression = 0;
  png_bytep profile = nullptr;
  png_uint_32 length = 0;
  if (png_get_iCCP(reading.png, reading.info, &name, &compression, &profile, &length) != 0) out.icc.assign(reinterpret_cast<char*>(profile), length);
  return out;
}

Pixels decode_png(const Source& source, const Header& header) {
  Pixels out;
  cv::Mat raw;
  std::vector<png_bytep> rows;
  Reading reading;
  Trouble trouble{};
  Reader reader{source.bytes.substr(0, header.end)};
  if (setjmp(trouble.jump) != 0) {
    if (std::strstr(trouble.text, "end of file") != nullptr || std::strstr(trouble.text, "Not enough image data") != nullptr) source.truncated();
    source.damaged(trouble.text);
  }
  open(reading, trouble, reader);
  auto* png = reading.png;
  auto* info = reading.info;
  png_read_info(png, info);
  png_set_expand(png);
  png_set_scale_16(png);
  png_set_gray_to_rgb(png);
  png_set_bgr(png);
  png_set_interlace_handling(png);
  png_read_update_info(png, info);
  const auto width = png_get_image_width(png, info), height = png_get_image_height(png, info);
  const std::size_t channels = png_get_rowbytes(png, info) / width;
  if (channels != 3 && channels != 4) png_error(png, "pixels do not come out as colours");
  raw.create(static_cast<int>(height), static_cast<int>(width), channels == 4 ? CV_8UC4 : CV_8UC3);
  rows.resize(height);
  for (unsigned y = 0; y < height; ++y) rows[y] = raw.ptr(static_cast<int>(y));
  png_read_image(png, rows.data());
  png_read_end(png, nullptr);
  out.mat = over_white(raw);
  return out;
}

std::string encode_png(const cv::Mat& picture, double px_per_mm) {
  CV_Assert(!picture.empty() && (picture.type() == CV_8UC1 || picture.type() == CV_8UC3 || picture.type() == CV_8UC4));
  struct Writing {
    png_structp png = nullptr;
    png_infop info = nullptr;
    ~Writing() { png_destroy_write_struct(&png, &info); }
  } writing;
  std::string out;
  Trouble trouble{};
  if (setjmp(trouble.jump) != 0) throw std::runtime_error(std::string("PNG could not be written: ") + trouble.text);
  writing.png = png_create_write_struct(PNG_LIBPNG_VER_STRING, &trouble, leave, silent);
  writing.info = writing.png != nullptr ? png_create_info_struct(writing.png) : nullptr;
  if (writing.info == nullptr) throw std::bad_alloc();
  png_set_write_fn(
      writing.png, &out, [](png_structp png, png_bytep data, png_size_t size) { static_cast<std::string*>(png_get_io_ptr(png))->append(reinterpret_cast<char*>(data), size); },
      [](png_structp) {});
  const int colour = picture.channels() == 1 ? PNG_COLOR_TYPE_GRAY : picture.channels() == 3 ? PNG_COLOR_TYPE_RGB : PNG_COLOR_TYPE_RGBA;
  png_set_IHDR(writing.png, writing.info, static_cast<unsigned>(picture.cols), static_cast<unsigned>(picture.rows), 8, colour, PNG_INTERLACE_NONE,
               PNG_COMPRESSION_TYPE_DEFAULT, PNG_FILTER_TYPE_DEFAULT);
  if (px_per_mm > 0) {
    const auto per_metre = static_cast<png_uint_32>(std::lround(px_per_mm * 1000));
    png_set_pHYs(writing.png, writing.info, per_metre, per_metre, PNG_RESOLUTION_METER);
  }
  png_set_compression_level(writing.png, 4);
  png_write_info(writing.png, writing.info);
  if (picture.channels() > 1) png_set_bgr(writing.png);
  for (int y = 0; y < picture.rows; ++y) png_write_row(writing.png, picture.ptr(y));
  png_write_end(writing.png, writing.info);
  return out;
}

}  // namespace uroko::photo
