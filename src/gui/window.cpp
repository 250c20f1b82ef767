#include "uroko/gui/window.h"

#include "uroko/base/error.h"

namespace uroko::gui {

int open_window(const std::filesystem::path&) { throw Error(Fault::usage, "no-window", {}, "the window is not built yet", "use the command line"); }

}  // namespace uroko::gui
