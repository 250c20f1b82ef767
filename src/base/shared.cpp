#include "uroko/base/shared.h"

#include <algorithm>
#include <fstream>

namespace uroko {

namespace fs = std::filesystem;

fs::path shared_path(const std::string& name) {
  std::error_code error;
  const fs::path program = fs::read_symlink("/proc/self/exe", error);
  if (error) return {};
  // bin -> share/uroko; build/release and build/release/tests -> assets of the checkout.
  fs::path folder = program.parent_path();
  for (int up = 0; up < 4 && folder.has_relative_path(); ++up, folder = folder.parent_path())
    for (const auto& candidate : {folder / "share" / "uroko" / name, folder / "assets" / name})
      if (fs::exists(candidate, error)) return candidate;
  return {};
}

std::vector<GuidePage> guide_pages() {
  static const std::vector<std::string> order = {"keeping", "first-recheck", "photographing", "references", "tracing", "reading", "comparing", "limits", "exports", "accuracy", "margins", "bed", "healing", "casebook", "speed"};
  std::vector<GuidePage> pages;
  std::error_code error;
  for (const auto& entry : fs::directory_iterator(shared_path("guide"), error)) {
    if (entry.path().extension() != ".md") continue;
    GuidePage page{entry.path().stem().string(), {}, entry.path()};
    std::ifstream in(page.file);
    for (std::string line; page.title.empty() && std::getline(in, line);)
      if (line.starts_with("# ")) page.title = line.substr(2);
    pages.push_back(std::move(page));
  }
  const auto rank = [](const GuidePage& page) { return std::find(order.begin(), order.end(), page.name) - order.begin(); };
  std::sort(pages.begin(), pages.end(), [&](const GuidePage& a, const GuidePage& b) { return rank(a) != rank(b) ? rank(a) < rank(b) : a.name < b.name; });
  return pages;
}

}  // namespace uroko
