#include <cmath>
#include <opencv2/aruco.hpp>

#include "uroko/base/text.h"
#include "uroko/scale/card.h"

namespace uroko::scale {

namespace {

/// Black squares and black marker modules, as runs along rows.
void add_board(CardLayout& card) {
  const Board& board = card.board;
  const auto dictionary = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_4X4_100);
  const double module = board.marker_mm / 6;  // 4 bits and a black border
  int id = board.first_id;
  for (int row = 0; row < board.rows; ++row) {
    for (int column = 0; column < board.columns; ++column) {
      const double x = board.x + column * board.square_mm, y = board.y + row * board.square_mm;
      if (!board.holds_marker(column, row)) {
        card.rects.push_back({x, y, board.square_mm, board.square_mm, 0});
        continue;
      }
      cv::Mat bits;
      dictionary->drawMarker(id++, 6, bits, 1);
      const double inset = (board.square_mm - board.marker_mm) / 2;
      for (int r = 0; r < 6; ++r) {
        for (int c = 0; c < 6;) {
          if (bits.at<uchar>(r, c) != 0) {
            ++c;
            continue;
          }
          const int start = c;
          while (c < 6 && bits.at<uchar>(r, c) == 0) ++c;
          card.rects.push_back({x + inset + start * module, y + inset + r * module, (c - start) * module, module, 0});
        }
      }
    }
  }
}

CardLayout make_card() {
  CardLayout card;
  card.width_mm = 120;
  card.height_mm = 60;
  card.board = {4, 4, 9, 4, 10, 7.5, 20};
  add_board(card);

  card.texts.push_back({98, 9.2, 5, "uroko", true});
  const double lightness[] = {81, 51, 36};
  for (int i = 0; i < 3; ++i) {
    const CardLayout::Patch patch{98, 12 + 11.0 * i, 18, 10, lightness[i]};
    card.patches.push_back(patch);
    card.rects.push_back({patch.x, patch.y, patch.w, patch.h, srgb_of_lightness(patch.lab_l)});
  }

  const double ink = 0, faint = 0.45;
  card.texts.push_back({4, 51.8, 2.4, "fish", false});
  card.lines.push_back({10, 52.2, 60, 52.2, 0.15, faint});
  card.texts.push_back({62, 51.8, 2.4, "date", false});
  card.lines.push_back({69, 52.2, 94, 52.2, 0.15, faint});
  card.texts.push_back({98, 47.6, 1.7, "Lay flat, level", false});
  card.texts.push_back({98, 49.8, 1.7, "with the wound.", false});
  card.texts.push_back({98, 52.0, 1.7, "0 to 100 = 100.0 mm", false});

  card.check_x1 = 10;
  card.check_x2 = 110;
  card.check_y = card.height_mm;
  for (int mm = 0; mm <= 100; ++mm) {
    const double x = card.check_x1 + mm;
    const double length = mm % 10 == 0 ? 3.8 : mm % 5 == 0 ? 3.0 : 2.2;
    card.lines.push_back({x, card.height_mm - length, x, card.height_mm, mm % 10 == 0 ? 0.25 : 0.2, ink});
    if (mm % 10 == 0) {
      const std::string digits = number_text(mm);
      const double size = 2.0;
      // DejaVu's digits are 0.636 em wide.
      card.texts.push_back({x - 0.318 * size * static_cast<double>(digits.size()), 55.8, size, digits, false});
    }
  }
  card.texts.push_back({112, 58.6, 2.0, "mm", false});
  return card;
}

CardLayout make_lens_sheet() {
  CardLayout sheet;
  sheet.width_mm = 256;
  sheet.height_mm = 186;
  sheet.board = {8, 8, 12, 8, 20, 15, 50};
  add_board(sheet);
  sheet.check_x1 = 8;
  sheet.check_x2 = 208;
  sheet.check_y = 176;
  sheet.lines.push_back({8, 176, 208, 176, 0.3, 0});
  for (const double x : {8.0, 208.0}) sheet.lines.push_back({x, 173.5, x, 178.5, 0.3, 0});
  sheet.texts.push_back({10, 182, 3, "uroko lens sheet: squares of 20.0 mm; the line must measure 200.0 mm", false});
  return sheet;
}

}  // namespace

PlanePoint Board::marker(int i) const {
  // Two rows hold `columns` markers; in odd columns of even rows, in even columns of odd rows.
  int id = 0;
  for (int row = 0; row < rows; ++row) {
    for (int column = 0; column < columns; ++column) {
      if (!holds_marker(column, row)) continue;
      if (id++ == i) return {x + column * square_mm + (square_mm - marker_mm) / 2, y + row * square_mm + (square_mm - marker_mm) / 2};
    }
  }
  return {x, y};
}

double srgb_of_lightness(double lab_l) {
  const double f = (lab_l + 16) / 116;
  const double linear = lab_l > 8 ? f * f * f : lab_l * 27 / 24389;
  return linear <= 0.0031308 ? 12.92 * linear : 1.055 * std::pow(linear, 1 / 2.4) - 0.055;
}

const CardLayout& card_layout() {
  static const CardLayout card = make_card();
  return card;
}

const CardLayout& lens_sheet_layout() {
  static const CardLayout sheet = make_lens_sheet();
  return sheet;
}

}  // namespace uroko::scale
