// Header sniffer and segment readers of every format, without pixels: what is known of a photo, or one Error; and the metadata stripper.
#include "scratch.h"
#include "photo/decode.h"

using namespace uroko;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const std::filesystem::path name = "fuzz";
  const auto bytes = fuzz::text(data, size);
  try {
    const auto seen = photo::decode_here({bytes, name}, {photo::Job::Deed::probe, 0, {}});
    fuzz::must(seen.info.width_px > 0 && seen.info.height_px > 0 && seen.info.orientation >= 1 && seen.info.orientation <= 8);
    photo::PhotoInfo again;
    fuzz::must(photo::unpack(photo::packed(seen.info), again) && again.taken == seen.info.taken && again.width_px == seen.info.width_px);
  } catch (const Error& e) {
    fuzz::must(e.fault() == Fault::input && !e.code().empty() && !e.advice().empty());
  }
  const auto clean = photo::without_position(bytes);
  if (!clean) return 0;
  try {
    fuzz::must(!photo::decode_here({clean.value(), name}, {photo::Job::Deed::probe, 0, {}}).info.has_position);
  } catch (const Error&) {
  }
  return 0;
}
