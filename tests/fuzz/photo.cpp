// Header sniffer, segment reader and every decoder on small pictures: a photo or one Error, nothing else.
#include <cstdint>
#include <string_view>

#include "uroko/base/error.h"
#include "uroko/photo/photo.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  uroko::photo::LoadLimits limits;
  limits.max_megapixels = 0.1;
  limits.max_side_px = 2000;
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  try {
    (void)uroko::photo::load_bytes(bytes, "fuzz", limits);
  } catch (const uroko::Error&) {
  }
  (void)uroko::photo::without_position(bytes);
  return 0;
}
