#pragma once
#include <optional>
#include <string>
#include <vector>

#include "uroko/report/scene.h"

namespace uroko::report {

/// What a file says about itself. Empty fields are left out.
struct About {
  std::string title, subject, author;
  std::string created;  ///< ISO 8601; empty: now
};

/// Bytes of the scene as a file of its own. `extension`: ".svg", ".png" (2 px a point), ".pdf". Throws Error(Fault::usage) for others.
/// Letters are DejaVu Sans; scripts it lacks come from whatever font the system has. Invalid UTF-8 is shown with the replacement character.
std::string paint(const Scene& scene, const std::string& extension, const About& about = {});

/// A PDF of several pages, each with its own size; fonts embedded, photos as JPEG.
std::string paint_pages(const std::vector<Scene>& pages, const About& about = {});

/// PNG bytes at any density; > 0, and the picture at most 20000 px a side.
std::string paint_png(const Scene& scene, double px_per_point);

/// Advance width in points of one line as painted.
double text_width(const std::string& text, double size, bool bold = false);
/// Lines no wider than `width` points, broken by Unicode's rules (Pango); a single word that is wider is broken inside.
std::vector<std::string> wrapped(const std::string& text, double size, double width, bool bold = false);
/// The text, shortened with an ellipsis to fit.
std::string fitted(const std::string& text, double size, double width, bool bold = false);

}  // namespace uroko::report
