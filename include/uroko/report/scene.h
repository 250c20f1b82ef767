#pragma once
#include <cstdint>
#include <opencv2/core.hpp>
#include <string>
#include <variant>
#include <vector>

namespace uroko::report {

/// A drawing laid out once and painted twice (ImGui's draw list, Cairo), so that screen and report cannot disagree.
/// Unit: points (1/72 inch on paper, one unscaled pixel on screen), x right, y down.
struct Colour { std::uint8_t r = 0, g = 0, b = 0, a = 255; };
struct Point { double x = 0, y = 0; };
enum class Dash { solid, dashed, dotted };
enum class Anchor { left, middle, right };
enum class Hatch { none, diagonal, dots, cross };

struct PolyLine { std::vector<Point> points; Colour colour; double width = 1; Dash dash = Dash::solid; bool closed = false; };
struct Fill { std::vector<Point> points; Colour colour; Hatch hatch = Hatch::none; };
struct Disc { Point at; double radius = 3; Colour fill, edge; double edge_width = 1; };
struct Label { Point at; std::string text; double size = 9; Colour colour; Anchor anchor = Anchor::left; bool bold = false; double turn_deg = 0; };  ///< at: baseline
struct Picture { Point at; double w = 0, h = 0; cv::Mat bgr; };

using Item = std::variant<PolyLine, Fill, Disc, Label, Picture>;
struct Scene {
  double width = 0, height = 0;
  std::vector<Item> items;  ///< painted in order
};

}  // namespace uroko::report
