#pragma once
// Pango layouts as the painters and the layouts use them. Private to the room.
#include <pango/pangocairo.h>

#include <memory>
#include <string>

namespace uroko::report {

struct GObjectDeleter {
  void operator()(void* object) const { g_object_unref(object); }
};
using Layout = std::unique_ptr<PangoLayout, GObjectDeleter>;

/// Valid UTF-8 of one line: wrong bytes become U+FFFD, control characters blanks.
std::string printable(const std::string& text);

/// One line of DejaVu Sans on `cr`, or measured without a drawing when `cr` is null. `size` in the drawing's unit.
Layout line_layout(cairo_t* cr, const std::string& text, double size, bool bold);

}  // namespace uroko::report
