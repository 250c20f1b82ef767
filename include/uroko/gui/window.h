#pragma once
#include <filesystem>

namespace uroko::gui {

/// Opens the window on that case book (empty path: the last one or the start screen) and returns when it is closed.
/// Throws Error(Fault::usage, "no-display") when there is no display.
int open_window(const std::filesystem::path& book);

}  // namespace uroko::gui
