#pragma once
#include <cstdint>
#include <opencv2/core.hpp>
#include <string>
#include <variant>
#include <vector>

namespace uroko::report {

/// A drawing laid out once and painted twice (ImGui's draw list, Cairo), so that screen and report cannot disagree.
/// Unit: points (1/72 inch on paper, one unscaled pixel on screen), x right, y down.
struct Colour {
  std::uint8_t r = 0, g = 0, b = 0, a = 255;
  bool operator==(const Colour&) const = default;
};
struct Point { double x = 0, y = 0; };
enum class Dash { solid, dashed, dotted };
enum class Anchor { left, middle, right };
enum class Hatch { none, diagonal, dots, cross };

struct PolyLine { std::vector<Point> points; Colour colour; double width = 1; Dash dash = Dash::solid; bool closed = false; };
struct Fill { std::vector<Point> points; Colour colour; Hatch hatch = Hatch::none; };  ///< a simple polygon; with a hatch only the hatch is drawn
struct Disc { Point at; double radius = 3; Colour fill, edge; double edge_width = 1; };
struct Label { Point at; std::string text; double size = 9; Colour colour; Anchor anchor = Anchor::left; bool bold = false; double turn_deg = 0; };  ///< at: baseline; one line
struct Picture { Point at; double w = 0, h = 0; cv::Mat bgr; };

using Item = std::variant<PolyLine, Fill, Disc, Label, Picture>;
/// What a run of items is, for those who have a page read aloud: a standard structure type of ISO 32000-1, 14.8.4 (H1, H2, P, Table, TR, TH, TD, L, LI, LBody,
/// Figure). PDF keeps it, other painters pass over it. Items outside any tag are decoration or repeat what is said elsewhere.
struct Tag {
  std::string type;
  std::size_t first = 0, end = 0;  ///< items [first, end); tags nest and stand in the order in which they open
  std::string alt;                 ///< of a Figure: what it shows, in words
};
struct Scene {
  double width = 0, height = 0;
  std::vector<Item> items;  ///< painted in order
  std::vector<Tag> tags = {};
};

/// What a hatched fill is made of, clipped to its polygon: strokes of `stroke_width` for diagonal and cross, discs' centres for dots.
/// Every painter draws a hatch with these. `spacing` > 0 in points.
struct HatchStrokes {
  std::vector<std::pair<Point, Point>> strokes;
  std::vector<Point> dots;
};
HatchStrokes hatch_strokes(const Fill& fill, double spacing = 5);
constexpr double kHatchStrokeWidth = 0.7, kHatchDotRadius = 0.6;

/// Adds the items of `part` to `scene`, moved and scaled (text and line widths too).
void place(Scene& scene, const Scene& part, Point at, double scale = 1);

/// Colours that stay apart for colour-blind eyes: Okabe & Ito 2008, "Color Universal Design".
namespace okabe_ito {
constexpr Colour orange{230, 159, 0}, sky_blue{86, 180, 233}, bluish_green{0, 158, 115}, yellow{240, 228, 66}, blue{0, 114, 178}, vermilion{213, 94, 0},
    reddish_purple{204, 121, 167};
}

enum class Theme { light, dark };
/// Ground, text and hairlines of everything that is drawn.
struct Palette {
  Colour paper, ink, quiet, hairline, area, water, restart, closure;
};
const Palette& palette(Theme theme);

}  // namespace uroko::report
