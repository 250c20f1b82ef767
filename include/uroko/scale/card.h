#pragma once
#include <string>
#include <vector>

#include "uroko/geometry/points.h"

namespace uroko::scale {

/// A checkerboard whose white squares hold markers of OpenCV's 4x4 dictionaries (a ChArUco board). Lengths in mm.
struct Board {
  double x = 0, y = 0;  ///< top left corner on its sheet
  int columns = 0, rows = 0;
  double square_mm = 0, marker_mm = 0;
  int first_id = 0;  ///< markers count up from it, row by row

  /// The square at column, row holds a marker (it is white); the top left square is black.
  bool holds_marker(int column, int row) const { return (column + row) % 2 == 1; }
  int saddle_count() const { return (columns - 1) * (rows - 1); }
  int marker_count() const { return columns * rows / 2; }
  /// Inner corner i, row by row from the top left one, on the sheet.
  PlanePoint saddle(int i) const {
    const int column = i % (columns - 1), row = i / (columns - 1);  // whole rows before it
    return {x + square_mm * (1 + column), y + square_mm * (1 + row)};
  }
  /// Top left corner of marker `first_id + i` on the sheet.
  PlanePoint marker(int i) const;
};

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
  Board board;
};
const CardLayout& card_layout();

/// A larger board for photographing from many sides to calibrate a lens; fits A4 and letter.
const CardLayout& lens_sheet_layout();

/// sRGB value 0..1 of a neutral grey with that CIE L* (D65; IEC 61966-2-1).
double srgb_of_lightness(double lab_l);

}  // namespace uroko::scale
