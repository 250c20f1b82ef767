// A bundle's manifest: paths that stay inside a book, hashes that are hashes; and the archive around it. The first byte says which.
#include "casebook/archive.h"
#include "scratch.h"
#include "uroko/base/error.h"

using namespace uroko;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size == 0) return 0;
  const auto text = fuzz::text(data + 1, size - 1);
  try {
    if (data[0] % 8 == 0) {
      (void)casebook::read_archive(fuzz::put("fuzz.bundle", text), {}, {});
      return 0;
    }
    const auto manifest = casebook::Manifest::parse(std::string(text), "fuzz.bundle");
    for (const auto& file : manifest.files) {
      const std::filesystem::path path = file.path;
      fuzz::must(path.is_relative() && path.lexically_normal() == path && *path.begin() != "..");
    }
    fuzz::must(casebook::Manifest::parse(manifest.json(), "again.bundle").files.size() == manifest.files.size());
  } catch (const Error& e) {
    fuzz::must(e.fault() == Fault::input);
  }
  return 0;
}
