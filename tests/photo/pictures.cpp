#include "photo/pictures.h"

#include <lcms2.h>
#include <libheif/heif.h>
#include <png.h>
#include <tiffio.h>
#include <webp/encode.h>
#include <zlib.h>

#include <cstdio>
#include <opencv2/imgproc.hpp>
// After <cstdio>, which it needs.
#include <jpeglib.h>

#include "uroko/base/file.h"

namespace uroko::testing {

cv::Mat corners(int width, int height) {
  cv::Mat out(height, width, CV_8UC3);
  for (int y = 0; y < height; ++y)
    for (int x = 0; x < width; ++x) {
      const double u = double(x) / (width - 1), v = double(y) / (height - 1);
      out.at<cv::Vec3b>(y, x) = {cv::saturate_cast<uchar>(40 + 180 * u), cv::saturate_cast<uchar>(60 + 150 * v), cv::saturate_cast<uchar>(220 - 190 * u * v)};
    }
  return out;
}

std::string png_bytes(const cv::Mat& bgr, const PngKind& kind) {
  std::string out;
  png_structp png = png_create_write_struct(PNG_LIBPNG_VER_STRING, nullptr, nullptr, nullptr);
  png_infop info = png_create_info_struct(png);
  png_set_write_fn(
      png, &out, [](png_structp p, png_bytep data, png_size_t size) { static_cast<std::string*>(png_get_io_ptr(p))->append(reinterpret_cast<char*>(data), size); }, nullptr);
  png_set_IHDR(png, info, unsigned(bgr.cols), unsigned(bgr.rows), kind.bits, kind.colour, kind.interlaced ? PNG_INTERLACE_ADAM7 : PNG_INTERLACE_NONE, 0, 0);
  if (!kind.icc.empty()) png_set_iCCP(png, info, "profile", 0, reinterpret_cast<png_const_bytep>(kind.icc.data()), unsigned(kind.icc.size()));
  png_color palette[256];
  if (kind.colour == 3) {
    for (int i = 0; i < 256; ++i) palette[i] = {png_byte(i), png_byte(255 - i), png_byte(i / 2)};
    png_set_PLTE(png, info, palette, 256);
  }
  png_write_info(png, info);
  const int channels = png_get_channels(png, info), bytes = kind.bits / 8;
  std::vector<std::vector<png_byte>> rows(std::size_t(bgr.rows), std::vector<png_byte>(std::size_t(bgr.cols) * channels * bytes));
  std::vector<png_bytep> pointers;
  for (int y = 0; y < bgr.rows; ++y) {
    auto* to = rows[std::size_t(y)].data();
    pointers.push_back(to);
    for (int x = 0; x < bgr.cols; ++x) {
      const auto p = bgr.at<cv::Vec3b>(y, x);
      const int alpha = x < bgr.cols / 2 ? 255 : 0;
      const int values[4] = {kind.colour & 2 && kind.colour != 3 ? p[2] : p[1], kind.colour & 2 && kind.colour != 3 ? p[1] : alpha, p[0], alpha};
      for (int c = 0; c < channels; ++c)
        for (int b = 0; b < bytes; ++b) *to++ = png_byte(values[c]);  // v * 257 in 16 bits
    }
  }
  png_write_image(png, pointers.data());
  png_write_end(png, info);
  png_destroy_write_struct(&png, &info);
  return out;
}

std::string tiff_bytes(const cv::Mat& bgr, int bits, const std::filesystem::path& scratch) {
  TIFF* tiff = TIFFOpen(scratch.c_str(), "w");
  TIFFSetField(tiff, TIFFTAG_IMAGEWIDTH, bgr.cols);
  TIFFSetField(tiff, TIFFTAG_IMAGELENGTH, bgr.rows);
  TIFFSetField(tiff, TIFFTAG_SAMPLESPERPIXEL, 3);
  TIFFSetField(tiff, TIFFTAG_BITSPERSAMPLE, bits);
  TIFFSetField(tiff, TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_RGB);
  TIFFSetField(tiff, TIFFTAG_PLANARCONFIG, PLANARCONFIG_CONTIG);
  TIFFSetField(tiff, TIFFTAG_COMPRESSION, COMPRESSION_ADOBE_DEFLATE);
  TIFFSetField(tiff, TIFFTAG_ORIENTATION, ORIENTATION_TOPLEFT);
  TIFFSetField(tiff, TIFFTAG_MAKE, "Maker");
  for (int y = 0; y < bgr.rows; ++y) {
    std::vector<std::uint16_t> row16;
    std::vector<std::uint8_t> row8;
    for (int x = 0; x < bgr.cols; ++x)
      for (const int c : {2, 1, 0}) {
        const auto v = bgr.at<cv::Vec3b>(y, x)[c];
        row8.push_back(v);
        row16.push_back(std::uint16_t(v * 257));
      }
    TIFFWriteScanline(tiff, bits == 16 ? static_cast<void*>(row16.data()) : row8.data(), unsigned(y));
  }
  TIFFClose(tiff);
  return read_file(scratch);
}

std::string webp_bytes(const cv::Mat& bgr) {
  std::uint8_t* data = nullptr;
  const auto size = WebPEncodeLosslessBGR(bgr.data, bgr.cols, bgr.rows, int(bgr.step), &data);
  std::string out(reinterpret_cast<char*>(data), size);
  WebPFree(data);
  return out;
}

std::string heic_bytes(const cv::Mat& bgr, int quarter_turns, const std::filesystem::path& scratch) {
  heif_context* context = heif_context_alloc();
  heif_encoder* encoder = nullptr;
  std::string out;
  if (heif_context_get_encoder_for_format(context, heif_compression_HEVC, &encoder).code == heif_error_Ok) {
    heif_encoder_set_lossy_quality(encoder, 90);
    cv::Mat stored = bgr.clone();
    heif_image* image = nullptr;
    heif_image_create(stored.cols, stored.rows, heif_colorspace_RGB, heif_chroma_interleaved_RGB, &image);
    heif_image_add_plane(image, heif_channel_interleaved, stored.cols, stored.rows, 24);
    int stride = 0;
    auto* plane = heif_image_get_plane(image, heif_channel_interleaved, &stride);
    for (int y = 0; y < stored.rows; ++y)
      for (int x = 0; x < stored.cols; ++x)
        for (int c = 0; c < 3; ++c) plane[y * stride + 3 * x + c] = stored.at<cv::Vec3b>(y, x)[2 - c];
    heif_encoding_options* options = heif_encoding_options_alloc();
    constexpr heif_orientation turns[4] = {heif_orientation_normal, heif_orientation_rotate_270_cw, heif_orientation_rotate_180, heif_orientation_rotate_90_cw};
    options->image_orientation = turns[quarter_turns % 4];
    heif_image_handle* handle = nullptr;
    if (heif_context_encode_image(context, image, encoder, options, &handle).code == heif_error_Ok) {
      const std::string exif = std::string("Exif\0\0", 6) + photo::write_exif({.taken = DateTime::parse("2026-03-02T10:14:00"), .taken_from = photo::DateSource::exif, .make = {}, .model = {}, .lens_model = {}, .focal_mm = {}, .focal35_mm = {}, .orientation = 6});
      heif_context_add_exif_metadata(context, handle, exif.data(), int(exif.size()));
      heif_image_handle_release(handle);
      if (heif_context_write_to_file(context, scratch.c_str()).code == heif_error_Ok) out = read_file(scratch);
    }
    heif_encoding_options_free(options);
    heif_image_release(image);
    heif_encoder_release(encoder);
  }
  heif_context_free(context);
  return out;
}

namespace {
std::string compress(const cv::Mat& picture, J_COLOR_SPACE space, bool progressive) {
  jpeg_compress_struct info{};
  jpeg_error_mgr error{};
  info.err = jpeg_std_error(&error);
  jpeg_create_compress(&info);
  unsigned char* data = nullptr;
  unsigned long size = 0;
  jpeg_mem_dest(&info, &data, &size);
  info.image_width = unsigned(picture.cols);
  info.image_height = unsigned(picture.rows);
  info.input_components = picture.channels();
  info.in_color_space = space;
  jpeg_set_defaults(&info);
  jpeg_set_quality(&info, 95, TRUE);
  if (progressive) jpeg_simple_progression(&info);
  jpeg_start_compress(&info, TRUE);
  for (int y = 0; y < picture.rows; ++y) {
    auto* row = const_cast<JSAMPROW>(picture.ptr(y));
    jpeg_write_scanlines(&info, &row, 1);
  }
  jpeg_finish_compress(&info);
  jpeg_destroy_compress(&info);
  std::string out(reinterpret_cast<char*>(data), size);
  std::free(data);
  return out;
}
}  // namespace

std::string progressive_jpeg(const cv::Mat& bgr) { return compress(bgr, JCS_EXT_BGR, true); }

std::string cmyk_jpeg(int width, int height, int c, int m, int y, int k) {
  // libjpeg marks CMYK files as Adobe's, whose samples are turned round.
  return compress(cv::Mat(height, width, CV_8UC4, cv::Scalar(255 - c, 255 - m, 255 - y, 255 - k)), JCS_CMYK, false);
}

std::string with_segment(const std::string& jpeg, int marker, const std::string& payload) {
  const auto length = payload.size() + 2;
  return jpeg.substr(0, 2) + std::string{char(0xFF), char(marker), char(length >> 8), char(length & 255)} + payload + jpeg.substr(2);
}

namespace {
std::string chunk(const std::string& kind, const std::string& data) {
  const auto be = [](unsigned v) { return std::string{char(v >> 24), char(v >> 16 & 255), char(v >> 8 & 255), char(v & 255)}; };
  const std::string body = kind + data;
  return be(unsigned(data.size())) + body + be(unsigned(crc32(0, reinterpret_cast<const Bytef*>(body.data()), unsigned(body.size()))));
}
}  // namespace

std::string png_header_only(unsigned width, unsigned height) {
  const auto be = [](unsigned v) { return std::string{char(v >> 24), char(v >> 16 & 255), char(v >> 8 & 255), char(v & 255)}; };
  const std::string raw(1000, '\0');
  std::string packed(2000, '\0');
  uLongf size = packed.size();
  ::compress(reinterpret_cast<Bytef*>(packed.data()), &size, reinterpret_cast<const Bytef*>(raw.data()), raw.size());
  packed.resize(size);
  return "\x89PNG\r\n\x1a\n" + chunk("IHDR", be(width) + be(height) + std::string("\x08\x02\0\0\0", 5)) + chunk("IDAT", packed) + chunk("IEND", "");
}

std::string display_p3_icc() {
  // Primaries of SMPTE EG 432-1 with D65 and sRGB's curve: what phones call Display P3.
  const cmsCIExyY white{0.3127, 0.3290, 1};
  const cmsCIExyYTRIPLE xy = {{0.680, 0.320, 1}, {0.265, 0.690, 1}, {0.150, 0.060, 1}};
  const cmsFloat64Number srgb[5] = {2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045};
  cmsToneCurve* curve = cmsBuildParametricToneCurve(nullptr, 4, srgb);
  cmsToneCurve* curves[3] = {curve, curve, curve};
  cmsHPROFILE profile = cmsCreateRGBProfile(&white, &xy, curves);
  cmsFreeToneCurve(curve);
  cmsUInt32Number size = 0;
  cmsSaveProfileToMem(profile, nullptr, &size);
  std::string out(size, '\0');
  cmsSaveProfileToMem(profile, out.data(), &size);
  cmsCloseProfile(profile);
  return out;
}

std::string load_code(const std::string& bytes, const std::string& name) {
  try {
    photo::load_bytes(bytes, name);
    return "";
  } catch (const Error& e) {
    return e.code();
  }
}

double mean_difference(const cv::Mat& a, const cv::Mat& b) {
  if (a.size() != b.size() || a.type() != b.type()) return 1e9;
  return cv::norm(a, b, cv::NORM_L1) / double(a.total() * a.channels());
}

}  // namespace uroko::testing
