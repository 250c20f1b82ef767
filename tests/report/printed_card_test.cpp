#include <catch2/catch.hpp>
#include <cmath>
#include <fstream>
#include <regex>
#include <sstream>

#include "report/raster.h"
#include "support/command.h"
#include "support/temp_folder.h"
#include "uroko/report/card_print.h"

using namespace uroko;
using namespace uroko::report;
using namespace uroko::testing;

namespace {

// Where the darkness along a row or column crosses half, to a part of a pixel; `from` must be on one side, `to` on the other. Pixels.
double edge(const cv::Mat& page, cv::Point from, cv::Point to) {
  const int n = std::abs(to.x - from.x) + std::abs(to.y - from.y);
  const cv::Point step((to.x > from.x) - (to.x < from.x), (to.y > from.y) - (to.y < from.y));
  double before = darkness(page, from.x, from.y);
  const bool dark = before > 127.5;
  for (int i = 1; i <= n; ++i) {
    const cv::Point p = from + step * i;
    const double now = darkness(page, p.x, p.y);
    if ((now > 127.5) != dark) {
      const double share = (127.5 - before) / (now - before);  // between the two pixels' centres
      const double at = (step.x ? p.x : p.y) + 0.5 - (1 - share) * (step.x + step.y);
      return at;
    }
    before = now;
  }
  FAIL("no edge found");
  return 0;
}

}  // namespace

TEST_CASE("the words on card and lens sheet are real text in embedded fonts, in tagged documents with a title") {
  TempFolder folder;
  for (const auto* card : {&scale::card_layout(), &scale::lens_sheet_layout()})
    for (auto paper : {Paper::a4, Paper::letter}) {
      const auto pdf = (folder / "card.pdf").string();
      std::ofstream(pdf, std::ios::binary) << card_page(*card, ".pdf", paper);
      const auto text = run({"pdftotext", "-layout", pdf, "-"}).out;
      const bool lens = card == &scale::lens_sheet_layout();
      CHECK_THAT(text, Catch::Contains("Print at 100 % (no fit to page)") && Catch::Contains("steel rule") && Catch::Contains("cut along the outline"));
      CHECK_THAT(text, Catch::Contains(lens ? "Measure the 200 mm length" : "Measure the 100 mm length"));
      for (const auto& words : card->texts) {
        INFO(words.text);
        CHECK(text.find(words.text.substr(0, words.text.find(' '))) != std::string::npos);
      }
      std::istringstream fonts(run({"pdffonts", pdf}).out);
      int found = 0;
      for (std::string line; std::getline(fonts, line);)
        if (line.find("DejaVuSans") != std::string::npos) {
          ++found;
          CHECK(std::regex_search(line, std::regex(" yes +yes +yes ")));  // embedded, subset, with a way back to Unicode
        }
      CHECK(found > 0);
      const auto info = run({"pdfinfo", pdf}).out;
      CHECK_THAT(info, Catch::Contains(lens ? "uroko lens sheet" : "uroko reference card"));
      CHECK(std::regex_search(info, std::regex("Tagged: +yes")));
      CHECK(run({"qpdf", "--check", pdf}).exit_code == 0);
    }
}

TEST_CASE("the card and the lens sheet come out of another program's raster at true size, on A4 and letter") {
  TempFolder folder;
  const int dpi = 300;
  const double per_mm = dpi / 25.4;
  for (const auto* card : {&scale::card_layout(), &scale::lens_sheet_layout()})
    for (auto paper : {Paper::a4, Paper::letter}) {
      const auto pdf = (folder / "card.pdf").string();
      std::ofstream(pdf, std::ios::binary) << card_page(*card, ".pdf", paper);
      const auto page = rasterised(pdf, 1, dpi);
      const double long_mm = std::max(page.cols, page.rows) / per_mm, short_mm = std::min(page.cols, page.rows) / per_mm;
      CHECK(long_mm == Approx(paper == Paper::a4 ? 297 : 279.4).margin(0.1));    // ISO 216; 11 inches
      CHECK(short_mm == Approx(paper == Paper::a4 ? 210 : 215.9).margin(0.1));

      // The first black square is the first large black field from the top left: the card is looked for, not taken from the layout.
      const auto& board = card->board;
      const int half = static_cast<int>(board.square_mm * per_mm / 2);
      cv::Point inside(-1, -1);
      for (int y = 0; y < page.rows && inside.x < 0; y += 12)
        for (int x = 0; x < page.cols && inside.x < 0; x += 12) {
          bool black = x + half < page.cols && y + half < page.rows;
          for (int k = 0; black && k <= half; k += 6) black = darkness(page, x + k, y) > 200 && darkness(page, x, y + k) > 200 && darkness(page, x + k, y + k) > 200;
          if (black) inside = {x + half / 4, y + half / 4};
        }
      REQUIRE(inside.x > 0);
      const int reach = static_cast<int>(board.square_mm * per_mm);
      const double left = edge(page, inside, {inside.x - reach, inside.y}), right = edge(page, inside, {inside.x + reach, inside.y});
      const double top = edge(page, inside, {inside.x, inside.y - reach}), bottom = edge(page, inside, {inside.x, inside.y + reach});
      CHECK((right - left) / per_mm == Approx(board.square_mm).margin(0.1));
      CHECK((bottom - top) / per_mm == Approx(board.square_mm).margin(0.1));
      // The black square furthest to the right in the first row, and furthest down in the first column.
      const int last_column = (board.columns - 1) / 2 * 2, last_row = (board.rows - 1) / 2 * 2;
      const auto at = [&](int column, int row) {
        return cv::Point(static_cast<int>(left + (column + 0.5) * board.square_mm * per_mm), static_cast<int>(top + (row + 0.5) * board.square_mm * per_mm));
      };
      const double far_right = edge(page, at(last_column, 0), at(last_column, 0) + cv::Point(reach, 0));
      const double far_bottom = edge(page, at(0, last_row), at(0, last_row) + cv::Point(0, reach));
      CHECK((far_right - left) / per_mm == Approx((last_column + 1) * board.square_mm).margin(0.1));
      CHECK((far_bottom - top) / per_mm == Approx((last_row + 1) * board.square_mm).margin(0.1));

      // The check length: the graduations at both ends, and each tenth between them, on the card itself.
      if (card != &scale::card_layout()) continue;
      const double x0 = left + (card->check_x1 - board.x) * per_mm;
      const int y = static_cast<int>(top + (card->height_mm - board.y - 1.2) * per_mm);
      std::vector<double> ticks;
      for (int mm = 0; mm <= 100; mm += 10) {
        const auto centre = stroke_centre_x(page, y, static_cast<int>(x0 + (mm - 0.45) * per_mm), static_cast<int>(x0 + (mm + 0.45) * per_mm));
        REQUIRE(centre);
        ticks.push_back(*centre / per_mm);
      }
      CHECK(ticks.back() - ticks.front() == Approx(100).margin(0.1));
      for (std::size_t i = 0; i < ticks.size(); ++i) CHECK(ticks[i] - ticks[0] == Approx(10.0 * static_cast<double>(i)).margin(0.1));
    }
}
