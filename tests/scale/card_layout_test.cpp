#include "uroko/scale/card.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

using namespace uroko::scale;

TEST_CASE("the card's whole width and height in mm make a picture of whole pixels, and everything lies on the card") {
  for (const CardLayout* card : {&card_layout(), &lens_sheet_layout()}) {
    CHECK(card->width_mm == std::round(card->width_mm));
    CHECK(card->height_mm == std::round(card->height_mm));
    for (const auto& r : card->rects) {
      CHECK((r.x >= 3 && r.y >= 3 && r.x + r.w <= card->width_mm - 3 && r.y + r.h <= card->height_mm - 3));
    }
    for (const auto& l : card->lines) CHECK((l.x1 > 0 && l.x2 < card->width_mm && std::max(l.y1, l.y2) <= card->height_mm));
  }
  CHECK(card_layout().check_x2 - card_layout().check_x1 == 100);
}

TEST_CASE("the grey patches have the sRGB values of their lightness") {
  // IEC 61966-2-1: sRGB 128 is L* 53.59 (D65).
  CHECK(255 * srgb_of_lightness(53.59) == Approx(128).margin(0.02));
  CHECK(srgb_of_lightness(100) == Approx(1));
  CHECK(srgb_of_lightness(0) == Approx(0).margin(1e-12));
}

TEST_CASE("a board knows where its saddle points and markers lie") {
  const Board& board = card_layout().board;
  CHECK(board.saddle_count() == 24);
  CHECK(board.marker_count() == 18);
  CHECK(board.saddle(0) == uroko::PlanePoint{14, 14});
  CHECK(board.saddle(23) == uroko::PlanePoint{84, 34});
  CHECK(board.marker(0) == uroko::PlanePoint{15.25, 5.25});
  CHECK(board.marker(4) == uroko::PlanePoint{5.25, 15.25});
}
