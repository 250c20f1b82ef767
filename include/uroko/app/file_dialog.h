#pragma once
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "uroko/base/token.h"

namespace uroko::app {

struct FileQuestion {
  std::string title;
  bool save = false, folder = false, many = false;
  std::filesystem::path start;  ///< folder to open in, or for `save` the suggested file
  std::string pattern_name;     ///< "Photos"
  std::vector<std::string> patterns;  ///< "*.jpg"
};

/// Asks through the desktop portal (org.freedesktop.portal.FileChooser over D-Bus), else zenity, else kdialog. Blocks, for as long as the person takes: for a worker
/// that nothing else waits for. Nothing when none of them shows its dialog; an empty list when the person cancelled or the token was, which takes the dialog away.
std::optional<std::vector<std::filesystem::path>> ask_files(const FileQuestion& question, const Token& token);

}  // namespace uroko::app
