#include "uroko/photo/endings.h"

#include <algorithm>
#include <array>
#include <string_view>

#include "uroko/base/text.h"

namespace uroko::photo {

bool has_photo_ending(const std::filesystem::path& file) {
  static constexpr std::array<std::string_view, 8> kEndings = {".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif"};
  return std::find(kEndings.begin(), kEndings.end(), lower_ascii(file.extension().string())) != kEndings.end();
}

}  // namespace uroko::photo
