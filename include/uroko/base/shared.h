#pragma once
#include <filesystem>
#include <string>
#include <vector>

namespace uroko {

/// What comes with the program (the guide, the sample case, the record's schema): in `share/uroko` beside the `bin` it was installed to, or in the
/// `assets` of the checkout that it was built in. Empty when there is none of that name. No path is fixed when it is built, so an installation can be moved.
std::filesystem::path shared_path(const std::string& name);

/// A page of the guide.
struct GuidePage {
  std::string name;   ///< file name without .md
  std::string title;  ///< its first heading
  std::filesystem::path file;
};
/// The guide's pages, those for the keeper and the vet first, in reading order, then the tables of figures. Empty when it was not installed.
std::vector<GuidePage> guide_pages();

}  // namespace uroko
