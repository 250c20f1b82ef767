// EXIF date, orientation and camera from any bytes, and what is written from them reads back the same.
#include <cstdint>
#include <cstdlib>
#include <string_view>

#include "uroko/photo/exif.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const auto fields = uroko::photo::read_exif({reinterpret_cast<const char*>(data), size});
  if (fields.orientation < 1 || fields.orientation > 8) std::abort();
  const auto again = uroko::photo::read_exif(uroko::photo::write_exif(fields));
  if (again.orientation != fields.orientation || again.make != fields.make || again.taken != fields.taken) std::abort();
  return 0;
}
