#include "photo/jpeg_layout.h"

#include <algorithm>
#include <cstring>
#include <map>

#include "photo/source.h"

namespace uroko::photo {

namespace {

constexpr std::string_view kExif{"Exif\0\0", 6};
constexpr std::string_view kIcc{"ICC_PROFILE\0", 12};

bool is_frame(int marker) { return marker >= 0xC0 && marker <= 0xCF && marker != 0xC4 && marker != 0xC8 && marker != 0xCC; }

void read_frame(JpegLayout& out, int marker, std::string_view data) {
  if (data.size() < 6) return;
  out.precision = static_cast<unsigned char>(data[0]);
  out.height = static_cast<int>(be16(data, 1));
  out.width = static_cast<int>(be16(data, 3));
  out.components = static_cast<unsigned char>(data[5]);
  out.progressive = marker == 0xC2 || marker == 0xC6 || marker == 0xCA || marker == 0xCE;
  int most_h = 1, most_v = 1;
  std::int64_t blocks = 0;
  for (int pass = 0; pass < 2; ++pass)
    for (int c = 0; c < out.components; ++c) {
      if (data.size() < 9 + 3 * std::size_t(c)) return;
      const int sampling = static_cast<unsigned char>(data[7 + 3 * std::size_t(c)]);
      const int h = std::clamp(sampling >> 4, 1, 4), v = std::clamp(sampling & 15, 1, 4);
      if (pass == 0) {
        most_h = std::max(most_h, h);
        most_v = std::max(most_v, v);
      } else {
        const std::int64_t across = (out.width + 8 * most_h - 1) / (8 * most_h), down = (out.height + 8 * most_v - 1) / (8 * most_v);
        blocks += across * down * h * v;
      }
    }
  out.coefficients = blocks * 64;
}

/// Where the coded data that begins at `at` ends: the next marker that is neither a stuffed byte nor a restart.
std::size_t end_of_scan(std::string_view bytes, std::size_t at) {
  while (at + 1 < bytes.size()) {
    const void* found = std::memchr(bytes.data() + at, 0xFF, bytes.size() - at - 1);
    if (found == nullptr) break;
    at = static_cast<std::size_t>(static_cast<const char*>(found) - bytes.data());
    const int next = static_cast<unsigned char>(bytes[at + 1]);
    if (next == 0xFF) {
      ++at;
    } else if (next == 0 || (next >= 0xD0 && next <= 0xD7)) {
      at += 2;
    } else {
      return at;
    }
  }
  return bytes.size();
}

}  // namespace

JpegLayout read_jpeg_layout(std::string_view bytes) {
  using Fault = JpegLayout::Fault;
  JpegLayout out;
  std::map<int, std::string_view> profile;
  int profile_parts = 0;
  const auto stop = [&](Fault fault) { return out.fault = fault, out; };
  std::size_t at = 2;
  for (;;) {
    if (at + 2 > bytes.size()) return stop(Fault::truncated);
    if (static_cast<unsigned char>(bytes[at]) != 0xFF) return stop(Fault::bad_segment);
    const int marker = static_cast<unsigned char>(bytes[at + 1]);
    if (marker == 0xFF) {  // fill byte
      ++at;
      continue;
    }
    if (marker == 0xD9) {
      out.end = at + 2;
      break;
    }
    if (marker == 0x01 || (marker >= 0xD0 && marker <= 0xD8)) {
      at += 2;
      continue;
    }
    if (marker == 0) return stop(Fault::bad_segment);
    if (at + 4 > bytes.size()) return stop(Fault::truncated);
    const std::size_t length = be16(bytes, at + 2);
    if (length < 2) return stop(Fault::bad_segment);
    if (at + 2 + length > bytes.size()) return stop(Fault::truncated);
    const auto data = bytes.substr(at + 4, length - 2);
    JpegLayout::Segment segment{marker, at, 2 + length};
    if (is_frame(marker)) {
      if (out.width != 0) return stop(Fault::bad_segment);
      read_frame(out, marker, data);
    } else if (marker == 0xE1 && data.starts_with(kExif) && out.exif.empty()) {
      out.exif = data.substr(kExif.size());
    } else if (marker == 0xE2 && data.starts_with(kIcc) && data.size() > 14) {
      profile[static_cast<unsigned char>(data[12])] = data.substr(14);
      profile_parts = static_cast<unsigned char>(data[13]);
    } else if (marker == 0xDA) {
      ++out.scans;
      segment.size = end_of_scan(bytes, at + segment.size) - at;
    }
    out.segments.push_back(segment);
    at += segment.size;
  }
  if (out.width == 0 || out.height == 0 || out.scans == 0) return stop(Fault::no_frame);
  if (static_cast<int>(profile.size()) == profile_parts)
    for (const auto& [number, part] : profile) out.icc += part;
  else if (!profile.empty())
    out.icc = "incomplete";  // read as an unreadable profile
  return out;
}

}  // namespace uroko::photo
