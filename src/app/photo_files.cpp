#include "app/photo_files.h"

#include "uroko/photo/endings.h"

namespace uroko::app {

namespace fs = std::filesystem;

std::vector<std::pair<fs::path, std::uintmax_t>> photo_files(const fs::path& folder) {
  std::vector<std::pair<fs::path, std::uintmax_t>> out;
  std::error_code error, of_one;
  for (fs::directory_iterator at(folder, error), end; !error && at != end; at.increment(error)) {
    if (!photo::has_photo_ending(at->path()) || !at->is_regular_file(of_one)) continue;
    if (const auto size = at->file_size(of_one); !of_one) out.emplace_back(at->path(), size);
  }
  return out;
}

}  // namespace uroko::app
