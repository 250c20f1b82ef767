#include <webp/decode.h>

#include "photo/source.h"

namespace uroko::photo {

// WebP container: RFC 9649, section 2.
Header webp_header(const Source& source) {
  const auto& bytes = source.bytes;
  Header out;
  out.format = Format::webp;
  if (bytes.size() < 20) source.truncated();
  const std::size_t whole = std::size_t{le32(bytes, 4)} + 8;
  WebPBitstreamFeatures features;
  if (WebPGetFeatures(reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size(), &features) != VP8_STATUS_OK) {
    if (whole > bytes.size()) source.truncated();
    source.damaged("its WebP header cannot be read");
  }
  if (features.has_animation != 0) source.unsupported("is an animation");
  out.width = features.width;
  out.height = features.height;
  out.end = whole <= bytes.size() ? whole : 0;
  for (std::size_t at = 12; at + 8 <= std::min(whole, bytes.size());) {
    const std::size_t length = le32(bytes, at + 4);
    if (length > bytes.size() - at - 8) break;
    const auto kind = bytes.substr(at, 4), data = bytes.substr(at + 8, length);
    if (kind == "ICCP") out.icc = data;
    if (kind == "EXIF") out.exif = data.starts_with(std::string_view{"Exif\0\0", 6}) ? data.substr(6) : data;
    at += 8 + length + length % 2;
  }
  return out;
}

Pixels decode_webp(const Source& source, const Header& header) {
  WebPDecoderConfig config;
  if (WebPInitDecoderConfig(&config) == 0) throw std::runtime_error("libwebp does not fit its header");
  const auto* data = reinterpret_cast<const std::uint8_t*>(source.bytes.data());
  if (WebPGetFeatures(data, source.bytes.size(), &config.input) != VP8_STATUS_OK) source.damaged("its WebP header cannot be read");
  const bool transparent = config.input.has_alpha != 0;
  cv::Mat raw(static_cast<int>(header.height), static_cast<int>(header.width), transparent ? CV_8UC4 : CV_8UC3);
  config.output.colorspace = transparent ? MODE_BGRA : MODE_BGR;
  config.output.is_external_memory = 1;
  config.output.u.RGBA.rgba = raw.data;
  config.output.u.RGBA.stride = static_cast<int>(raw.step);
  config.output.u.RGBA.size = raw.step * static_cast<std::size_t>(raw.rows);
  config.options.use_threads = 1;
  const auto status = WebPDecode(data, header.end, &config);
  WebPFreeDecBuffer(&config.output);
  if (status == VP8_STATUS_SUSPENDED || status == VP8_STATUS_NOT_ENOUGH_DATA) source.truncated();
  if (status != VP8_STATUS_OK) source.damaged("its WebP data cannot be decoded");
  Pixels out;
  out.mat = over_white(raw);
  return out;
}

}  // namespace uroko::photo
