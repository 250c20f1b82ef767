#include "app/photo_files.h"

#include <algorithm>
#include <array>
#include <string_view>

#include "uroko/base/text.h"

namespace uroko::app {

namespace fs = std::filesystem;

std::vector<std::pair<fs::path, std::uintmax_t>> photo_files(const fs::path& folder) {
  static constexpr std::array<std::string_view, 8> kEndings = {".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif"};
  std::vector<std::pair<fs::path, std::uintmax_t>> out;
  std::error_code error, of_one;
  for (fs::directory_iterator at(folder, error), end; !error && at != end; at.increment(error)) {
    if (std::find(kEndings.begin(), kEndings.end(), lower_ascii(at->path().extension().string())) == kEndings.end() || !at->is_regular_file(of_one)) continue;
    if (const auto size = at->file_size(of_one); !of_one) out.emplace_back(at->path(), size);
  }
  return out;
}

}  // namespace uroko::app
