#include <csetjmp>
#include <cstdio>
// jpeglib.h wants size_t and FILE before it.
#include <jerror.h>
#include <jpeglib.h>

#include <algorithm>
#include <vector>

#include "photo/jpeg_layout.h"
#include "photo/source.h"

namespace uroko::photo {

namespace {

/// libjpeg's errors leave by longjmp (its own way out), warnings are errors too: half a picture is no picture.
struct Trouble {
  jpeg_error_mgr base;
  std::jmp_buf jump;
  char text[JMSG_LENGTH_MAX];
  int code;
  bool all_rows;  ///< every row is out: stray bytes before EOI, which some phones write, harm nothing
};

void leave(j_common_ptr info) {
  auto* trouble = reinterpret_cast<Trouble*>(info->err);
  trouble->code = trouble->base.msg_code;
  trouble->base.format_message(info, trouble->text);
  std::longjmp(trouble->jump, 1);
}

void note(j_common_ptr info, int level) {
  if (level >= 0) return;
  auto* trouble = reinterpret_cast<Trouble*>(info->err);
  if (trouble->all_rows && trouble->base.msg_code == JWRN_EXTRANEOUS_DATA) return;
  leave(info);
}

void silent(j_common_ptr) {}

bool is_missing_data(int code) { return code == JWRN_HIT_MARKER || code == JWRN_JPEG_EOF || code == JERR_INPUT_EOF || code == JERR_INPUT_EMPTY; }

}  // namespace

Header jpeg_header(const Source& source) {
  auto layout = read_jpeg_layout(source.bytes);
  using Fault = JpegLayout::Fault;
  Header out;
  out.format = Format::jpeg;
  out.width = layout.width;
  out.height = layout.height;
  if (layout.fault == Fault::truncated) source.truncated();
  if (layout.fault == Fault::bad_segment) source.damaged("its JPEG segments do not follow one another");
  if (layout.fault == Fault::no_frame) source.damaged("the JPEG holds no picture");
  if (layout.precision != 8) source.unsupported("is a JPEG with " + std::to_string(layout.precision) + " bits a sample");
  if (layout.components != 1 && layout.components != 3 && layout.components != 4) source.unsupported("is a JPEG with " + std::to_string(layout.components) + " colour channels");
  // Work grows with scans x pixels; a camera's progressive file has about ten scans. 100 scans only where the picture is small.
  const double megapixels = double(layout.width) * layout.height / 1e6;
  if (layout.scans > 100 || layout.scans * megapixels > 1200)
    source.refuse("too-large", "would take too long to decode (" + std::to_string(layout.scans) + " scans)", "save it as a baseline JPEG");
  out.icc = std::move(layout.icc);
  out.exif = layout.exif;
  out.end = layout.end;
  out.decoder_bytes = layout.scans > 1 ? 2 * layout.coefficients : 0;
  return out;
}

Pixels decode_jpeg(const Source& source, const Header& header, int shrink) {
  Pixels out;
  std::vector<JSAMPROW> rows;
  jpeg_decompress_struct info{};
  Trouble trouble{};
  info.err = jpeg_std_error(&trouble.base);
  trouble.base.error_exit = leave;
  trouble.base.emit_message = note;
  trouble.base.output_message = silent;
  bool adobe = false;
  // Everything with a destructor stands above this line; nothing below it is one.
  if (setjmp(trouble.jump) != 0) {
    jpeg_destroy_decompress(&info);
    if (is_missing_data(trouble.code)) source.truncated();
    source.damaged(trouble.text);
  }
  jpeg_create_decompress(&info);
  jpeg_mem_src(&info, reinterpret_cast<const unsigned char*>(source.bytes.data()), header.end);
  jpeg_read_header(&info, TRUE);
  info.scale_num = 1;
  info.scale_denom = static_cast<unsigned>(shrink);
  if (shrink > 1) info.do_fancy_upsampling = FALSE;  // a screen's picture: half the time, no visible difference
  const bool cmyk = info.num_components == 4;
  info.out_color_space = cmyk ? JCS_CMYK : JCS_EXT_BGR;
  adobe = info.saw_Adobe_marker != FALSE;
  jpeg_start_decompress(&info);
  out.space = cmyk ? Pixels::Space::cmyk : Pixels::Space::bgr;
  out.mat.create(static_cast<int>(info.output_height), static_cast<int>(info.output_width), cmyk ? CV_8UC4 : CV_8UC3);
  rows.resize(info.output_height);
  for (unsigned y = 0; y < info.output_height; ++y) rows[y] = out.mat.ptr(static_cast<int>(y));
  while (info.output_scanline < info.output_height) jpeg_read_scanlines(&info, &rows[info.output_scanline], info.output_height - info.output_scanline);
  trouble.all_rows = true;
  jpeg_finish_decompress(&info);
  jpeg_destroy_decompress(&info);
  if (cmyk && adobe) cv::bitwise_not(out.mat, out.mat);  // Adobe stores CMYK turned round
  return out;
}

namespace {

std::string compressed(const cv::Mat& bgr, int quality, std::string_view exif) {
  CV_Assert(bgr.type() == CV_8UC3 && !bgr.empty());
  jpeg_compress_struct info{};
  Trouble trouble{};
  std::vector<unsigned char> segment;
  if (!exif.empty()) {
    const std::string_view mark{"Exif\0\0", 6};
    segment.assign(mark.begin(), mark.end());
    segment.insert(segment.end(), exif.begin(), exif.end());
  }
  unsigned char* buffer = nullptr;
  unsigned long size = 0;
  info.err = jpeg_std_error(&trouble.base);
  trouble.base.error_exit = leave;
  trouble.base.output_message = silent;
  if (setjmp(trouble.jump) != 0) {
    jpeg_destroy_compress(&info);
    std::free(buffer);
    throw std::runtime_error(std::string("JPEG could not be written: ") + trouble.text);
  }
  jpeg_create_compress(&info);
  jpeg_mem_dest(&info, &buffer, &size);
  info.image_width = static_cast<unsigned>(bgr.cols);
  info.image_height = static_cast<unsigned>(bgr.rows);
  info.input_components = 3;
  info.in_color_space = JCS_EXT_BGR;
  jpeg_set_defaults(&info);
  jpeg_set_quality(&info, quality, TRUE);
  for (int c = 0; c < 3; ++c) info.comp_info[c].h_samp_factor = info.comp_info[c].v_samp_factor = 1;
  info.write_JFIF_header = segment.empty() ? TRUE : FALSE;  // Exif's APP1 comes first where there is one
  jpeg_start_compress(&info, TRUE);
  if (!segment.empty()) jpeg_write_marker(&info, JPEG_APP0 + 1, segment.data(), static_cast<unsigned>(segment.size()));
  for (int y = 0; y < bgr.rows; ++y) {
    JSAMPROW row = const_cast<JSAMPROW>(bgr.ptr(y));
    jpeg_write_scanlines(&info, &row, 1);
  }
  jpeg_finish_compress(&info);
  jpeg_destroy_compress(&info);
  std::string out(reinterpret_cast<const char*>(buffer), size);
  std::free(buffer);
  return out;
}

}  // namespace

std::string encode_jpeg(const cv::Mat& bgr, int quality) { return compressed(bgr, quality, {}); }

std::string encode_jpeg_with_exif(const cv::Mat& bgr, int quality, const ExifFields& fields) { return compressed(bgr, quality, write_exif(fields)); }

}  // namespace uroko::photo
