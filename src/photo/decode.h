#pragma once
#include "photo/source.h"

// What the worker does for one photo, and what goes over the wire. Not for other rooms.
namespace uroko::photo {

struct Job {
  /// Those behind `preview` are what a broken decoder would do; only tests ask for them.
  enum class Deed : int { probe, whole, preview, crash, sleep, spin, hoard, babble } deed = Deed::whole;
  int max_side_px = 0;  ///< for a preview
  LoadLimits limits;
};

/// The pixels and what the bytes tell: no hash, and a date from EXIF only.
struct Loaded {
  PhotoInfo info;
  cv::Mat bgr;
};

/// Throws Error(Fault::input). `header_known` is told the size before the pixels are decoded.
Loaded decode_here(const Source& source, const Job& job, void (*header_known)(const Header&) = nullptr);

/// PhotoInfo or an Error's words in a message between processes. Reading checks every length; false when it is not such a message.
std::string packed(const PhotoInfo& info);
bool unpack(std::string_view message, PhotoInfo& info);

}  // namespace uroko::photo
