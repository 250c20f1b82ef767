// The worked examples of assets/guide/references.md, run as they stand there.
#include <catch2/catch.hpp>
#include <filesystem>

#include "support/command.h"
#include "uroko/base/file.h"
#include "uroko/base/text.h"

using namespace uroko;

namespace {

const std::filesystem::path guide = std::filesystem::path(UROKO_SOURCE) / "assets" / "guide";

/// "area 399.2 mm2   95 % interval 345.7 to 456.5" as its three numbers.
std::vector<double> area_of(const std::string& text) {
  const auto at = text.find("area  ");
  double value = 0, low = 0, high = 0;
  if (at == std::string::npos || std::sscanf(text.c_str() + at, "area %lf mm2 95 %% interval %lf to %lf", &value, &low, &high) != 3) return {};
  return {value, low, high};
}

}  // namespace

TEST_CASE("every scale reference of the guide measures as the guide prints it, and its interval holds the true area") {
  const auto lines = split(read_file(guide / "references.md", std::size_t{1} << 20), '\n');
  std::string loop;
  double truth = 0;
  int examples = 0;
  for (std::size_t i = 0; i < lines.size(); ++i) {
    const auto line = std::string(trim(lines[i]));
    if (line.rfind("loop=\"", 0) == 0) loop = line.substr(6, line.size() - 7);
    if (const auto at = line.find("has **"); at != std::string::npos) truth = std::stod(line.substr(at + 6));
    if (line.rfind("uroko measure reference-", 0) != 0) continue;
    std::vector<std::string> words;
    for (const auto& word : split(line, ' ')) words.emplace_back(word);
    words.erase(words.begin());
    words[1] = (guide / words[1]).string();
    REQUIRE(words.back() == "\"$loop\"");
    words.back() = loop;
    const auto ran = testing::uroko(words);
    INFO(line << "\n" << ran.out << ran.err);
    REQUIRE(ran.exit_code == 0);
    std::string printed;
    for (std::size_t k = i + 1; k < i + 5; ++k) printed += lines[k] + "\n";
    const auto stated = area_of(printed), found = area_of(ran.out);
    REQUIRE(stated.size() == 3);
    REQUIRE(found.size() == 3);
    for (std::size_t k = 0; k < 3; ++k) CHECK(found[k] == Approx(stated[k]).epsilon(0.01));
    CHECK(found[1] < truth);
    CHECK(found[2] > truth);
    CHECK(std::filesystem::file_size(words[1]) < 150 * 1024);
    ++examples;
  }
  CHECK(truth == 383.2);
  CHECK(examples == 5);
}
