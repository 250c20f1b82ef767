#pragma once
#include <filesystem>

namespace uroko::photo {

/// Whether a file's name ends as those of photos do that can be opened; it may still be none.
bool has_photo_ending(const std::filesystem::path& file);

}  // namespace uroko::photo
