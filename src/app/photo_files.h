#pragma once
#include <cstdint>
#include <filesystem>
#include <utility>
#include <vector>

namespace uroko::app {

/// The files of a folder that a photo may be in, by their names' endings, with their sizes in bytes; in no order. Empty where the folder cannot be read.
std::vector<std::pair<std::filesystem::path, std::uintmax_t>> photo_files(const std::filesystem::path& folder);

}  // namespace uroko::app
