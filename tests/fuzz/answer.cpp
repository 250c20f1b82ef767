// What a decoding worker that was taken over could answer: it is refused or gives values within their ranges.
#include "photo/decode.h"
#include "scratch.h"

using namespace uroko;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  photo::PhotoInfo info;
  if (!photo::unpack(fuzz::text(data, size), info)) return 0;
  fuzz::must(info.width_px > 0 && info.height_px > 0 && info.orientation >= 1 && info.orientation <= 8);
  photo::PhotoInfo again;
  fuzz::must(photo::unpack(photo::packed(info), again));
  fuzz::must(again.camera_make == info.camera_make && again.taken == info.taken);
  return 0;
}
