#pragma once
#include <string>
#include <vector>

namespace uroko::scale {

/// The printed reference card as plain shapes in millimetres from its top left corner, x right, y down. One layout serves
/// the printer (report), the renderer (scenes) and the detector (scale), so they cannot disagree.
struct CardLayout {
  double width_mm = 0, height_mm = 0;
  struct Rect { double x, y, w, h; double grey; };         ///< grey: sRGB 0 (black) .. 1 (white)
  struct Line { double x1, y1, x2, y2, width_mm; double grey; };
  struct Text { double x, y; double size_mm; std::string text; bool bold; };  ///< x, y: left end of the baseline
  std::vector<Rect> rects;
  std::vector<Line> lines;
  std::vector<Text> texts;
  struct Patch { double x, y, w, h; double lab_l; };  ///< the three neutral patches, CIE L* (D65), for white balance
  std::vector<Patch> patches;
  double check_x1 = 0, check_x2 = 0, check_y = 0;  ///< the check length, mm
};
const CardLayout& card_layout();

}  // namespace uroko::scale
