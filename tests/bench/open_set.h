// Photos and masks of the open data beside the project.
#pragma once
#include <filesystem>
#include <limits>

#include "bench/margin_eval.h"
#include "uroko/photo/photo.h"

namespace uroko::eval {

/// Photos and masks of one open set, in the order of their names; those without a wound of 80 pixels are passed over. Empty where the set is absent.
inline std::vector<Case> open_set(const std::string& set, std::size_t most = std::numeric_limits<std::size_t>::max()) {
  const auto root = std::filesystem::path(UROKO_SHARED_DATA) / set;
  std::vector<Case> cases;
  if (!std::filesystem::exists(root)) return cases;
  std::vector<std::filesystem::path> files;
  for (const auto& entry : std::filesystem::directory_iterator(root / "images")) files.push_back(entry.path());
  std::sort(files.begin(), files.end());
  for (const auto& file : files) {
    if (cases.size() >= most) break;
    cv::Mat mask;
    cv::cvtColor(photo::load(root / "masks" / (file.stem().string() + ".png")).bgr, mask, cv::COLOR_BGR2GRAY);
    Case c;
    if (make_case(c, file.stem().string(), photo::load(file).bgr, mask)) cases.push_back(c);
  }
  return cases;
}

}  // namespace uroko::eval
