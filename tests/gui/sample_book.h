#pragma once
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>

#include "support/command.h"
#include "support/temp_folder.h"

namespace uroko::testing {

inline const std::filesystem::path kSamples = std::filesystem::path(UROKO_SOURCE) / "sample_images";

inline nlohmann::json sample(std::size_t i) {
  std::ifstream in(kSamples / "truth.json");
  return nlohmann::json::parse(in).at("photos").at(i);
}

/// A book of the sample's first visits, measured by the command line: from the rough loop, or with the rendered margin itself.
inline std::string book_of(const TempFolder& folder, std::size_t visits, bool true_margin = false) {
  const auto book = (folder / "Koi.uroko").string();
  REQUIRE(uroko({"book", "new", book}).exit_code == 0);
  for (std::size_t i = 0; i < visits; ++i) {
    const auto s = sample(i);
    REQUIRE(uroko({"book", "add", book, (kSamples / s["file"].get<std::string>()).string(), "--fish", "Botan", "--wound", "left flank"}).exit_code == 0);
    REQUIRE(uroko({"book", "measure", book, "--photo", s["file"].get<std::string>(), true_margin ? "--outline" : "--around", s[true_margin ? "outline" : "loop"].get<std::string>()}).exit_code == 0);
  }
  return book;
}

}  // namespace uroko::testing
