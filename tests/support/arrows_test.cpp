#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <map>
#include <regex>

namespace fs = std::filesystem;

namespace {

// Each room may include itself and what stands below it (DEVELOPERS.md).
const std::vector<std::string> kWay = {"base", "geometry", "photo", "scale", "margin", "bed", "measure", "healing", "casebook", "report", "app", "gui"};

bool may_include(const std::string& room, const std::string& other) {
  if (room == other) return true;
  const auto rank = [](const std::string& name) { return std::find(kWay.begin(), kWay.end(), name) - kWay.begin(); };
  const auto report = rank("report");
  if (room == "cli" || room == "scenes") return other != "cli" && other != "scenes" && rank(other) <= report;
  if (other == "cli" || other == "scenes") return false;
  return rank(other) < rank(room);
}

struct Include {
  std::string file, room, target;
};

std::vector<Include> includes_below(const fs::path& root) {
  static const std::regex project(R"(^\s*#\s*include\s*"(?:uroko/)?([^"]+)\")"), system(R"(^\s*#\s*include\s*<([^>]+)>)");
  std::vector<Include> found;
  for (const auto& entry : fs::recursive_directory_iterator(root)) {
    const auto extension = entry.path().extension();
    if (extension != ".h" && extension != ".cpp") continue;
    const auto relative = fs::relative(entry.path(), root);
    if (std::distance(relative.begin(), relative.end()) < 2) continue;  // src/main.cpp joins the rooms
    std::ifstream in(entry.path());
    std::string line;
    std::smatch match;
    while (std::getline(in, line))
      if (std::regex_search(line, match, project) || std::regex_search(line, match, system))
        found.push_back({relative.string(), relative.begin()->string(), match[1]});
  }
  return found;
}

}  // namespace

TEST_CASE("no room includes a room above it") {
  int seen = 0;
  for (const std::string folder : {"/src", "/include/uroko"})
    for (const auto& include : includes_below(UROKO_SOURCE + folder)) {
      const auto slash = include.target.find('/');
      if (slash == std::string::npos) continue;
      const auto other = include.target.substr(0, slash);
      const bool room = other == "cli" || other == "scenes" || std::find(kWay.begin(), kWay.end(), other) != kWay.end();
      if (!room) continue;
      ++seen;
      INFO(include.file << " includes " << include.target);
      CHECK(may_include(include.room, other));
    }
  CHECK(seen > 30);
}

TEST_CASE("only the gui room includes Dear ImGui, GLFW or OpenGL, only casebook a database") {
  for (const std::string folder : {"/src", "/include/uroko"})
    for (const auto& include : includes_below(UROKO_SOURCE + folder)) {
      INFO(include.file << " includes " << include.target);
      const auto starts = [&](const char* word) { return include.target.rfind(word, 0) == 0; };
      if (starts("imgui") || starts("GLFW") || starts("GL/")) CHECK(include.room == "gui");
      if (starts("soci") || starts("sqlite3")) CHECK(include.room == "casebook");
    }
}

TEST_CASE("the arrow check itself tells an upward include from a downward one") {
  CHECK(may_include("measure", "geometry"));
  CHECK_FALSE(may_include("geometry", "measure"));
  CHECK_FALSE(may_include("cli", "gui"));
  CHECK_FALSE(may_include("gui", "cli"));
  CHECK_FALSE(may_include("casebook", "report"));
}
