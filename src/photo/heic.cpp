#include <libheif/heif.h>

#include <algorithm>
#include <memory>

#include "photo/source.h"

namespace uroko::photo {

namespace {

struct FreeContext {
  void operator()(heif_context* c) const { heif_context_free(c); }
};
struct FreeHandle {
  void operator()(heif_image_handle* h) const { heif_image_handle_release(h); }
};
struct FreeImage {
  void operator()(heif_image* i) const { heif_image_release(i); }
};

struct Opened {
  std::unique_ptr<heif_context, FreeContext> context;
  std::unique_ptr<heif_image_handle, FreeHandle> handle;
};

[[noreturn]] void refuse(const Source& source, const heif_error& error) {
  std::string text = error.message != nullptr ? error.message : "";
  std::replace(text.begin(), text.end(), '\n', ' ');  // an error is one line
  if (error.subcode == heif_suberror_End_of_data || text.find("End of file") != std::string::npos) source.truncated();
  if (error.subcode == heif_suberror_Security_limit_exceeded)
    source.refuse("too-large", "asks for more than the HEIC reader allows (" + text + ")", "save it smaller, as a JPEG");
  if (error.code == heif_error_Unsupported_filetype || error.code == heif_error_Unsupported_feature) source.unsupported("is a HEIC file of a kind that is not read (" + text + ")");
  source.damaged(text);
}

/// Where the boxes of the file end (ISO/IEC 14496-12, 4.2); 0 when the last one is cut.
std::size_t end_of_boxes(std::string_view bytes) {
  std::size_t at = 0;
  while (bytes.size() - at >= 8) {
    std::uint64_t length = be32(bytes, at);
    if (length == 0) return bytes.size();
    if (length == 1) {
      if (bytes.size() - at < 16) return 0;
      length = std::uint64_t{be32(bytes, at + 8)} << 32 | be32(bytes, at + 12);
    }
    if (length < 8 || length > bytes.size() - at) return 0;
    at += length;
  }
  return at;
}

Opened open(const Source& source) {
  Opened out;
  if (end_of_boxes(source.bytes) == 0) source.truncated();
  out.context.reset(heif_context_alloc());
  heif_context_set_maximum_image_size_limit(out.context.get(), 30000);
  auto error = heif_context_read_from_memory_without_copy(out.context.get(), source.bytes.data(), source.bytes.size(), nullptr);
  if (error.code != heif_error_Ok) refuse(source, error);
  heif_image_handle* handle = nullptr;
  error = heif_context_get_primary_image_handle(out.context.get(), &handle);
  if (error.code != heif_error_Ok) refuse(source, error);
  out.handle.reset(handle);
  return out;
}

}  // namespace

Header heic_header(const Source& source) {
  const auto opened = open(source);
  Header out;
  out.format = Format::heic;
  out.width = heif_image_handle_get_width(opened.handle.get());
  out.height = heif_image_handle_get_height(opened.handle.get());
  out.end = source.bytes.size();
  // A JPEG-like lossy picture in 4:2:0 planes before it becomes RGB, and tiles.
  out.decoder_bytes = bytes_for(out.width, out.height, 2);
  const auto kind = heif_image_handle_get_color_profile_type(opened.handle.get());
  if (kind == heif_color_profile_type_prof || kind == heif_color_profile_type_rICC) {
    out.icc.resize(heif_image_handle_get_raw_color_profile_size(opened.handle.get()));
    if (heif_image_handle_get_raw_color_profile(opened.handle.get(), out.icc.data()).code != heif_error_Ok) out.icc.clear();
  } else if (kind == heif_color_profile_type_nclx) {
    heif_color_profile_nclx* nclx = nullptr;
    if (heif_image_handle_get_nclx_color_profile(opened.handle.get(), &nclx).code == heif_error_Ok) {
      out.icc = icc_for_primaries(nclx->color_primaries);
      heif_nclx_color_profile_free(nclx);
    }
  }
  heif_item_id id = 0;
  if (heif_image_handle_get_list_of_metadata_block_IDs(opened.handle.get(), "Exif", &id, 1) == 1) {
    std::string block(heif_image_handle_get_metadata_size(opened.handle.get(), id), '\0');
    if (block.size() > 4 && heif_image_handle_get_metadata(opened.handle.get(), id, block.data()).code == heif_error_Ok) {
      const std::size_t skip = be32(block, 0);  // ISO/IEC 23008-12, annex A.2.1: offset to the TIFF header
      if (skip < block.size() - 4) out.exif_copy = block.substr(4 + skip);
    }
  }
  return out;
}

Pixels decode_heic(const Source& source, const Header& header) {
  const auto opened = open(source);
  std::unique_ptr<heif_decoding_options, void (*)(heif_decoding_options*)> options(heif_decoding_options_alloc(), heif_decoding_options_free);
  options->convert_hdr_to_8bit = 1;
  options->strict_decoding = 1;
  heif_image* raw = nullptr;
  const auto error = heif_decode_image(opened.handle.get(), &raw, heif_colorspace_RGB, heif_chroma_interleaved_RGB, options.get());
  if (error.code != heif_error_Ok) refuse(source, error);
  const std::unique_ptr<heif_image, FreeImage> image(raw);
  int stride = 0;
  const auto* data = heif_image_get_plane_readonly(image.get(), heif_channel_interleaved, &stride);
  const int width = heif_image_get_width(image.get(), heif_channel_interleaved), height = heif_image_get_height(image.get(), heif_channel_interleaved);
  if (data == nullptr || width != header.width || height != header.height) source.damaged("its size differs from what it says");
  Pixels out;
  out.mat.create(height, width, CV_8UC3);
  for (int y = 0; y < height; ++y) {
    const auto* in = data + std::size_t(y) * static_cast<std::size_t>(stride);
    auto* to = out.mat.ptr(y);
    for (int x = 0; x < width; ++x, in += 3, to += 3) {
      to[0] = in[2];
      to[1] = in[1];
      to[2] = in[0];
    }
  }
  return out;
}

}  // namespace uroko::photo
