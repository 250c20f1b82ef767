#include "report/flow.h"

#include <algorithm>

namespace uroko::report {

namespace {
const Palette& inks() { return palette(Theme::light); }
constexpr double kLeading = 1.36;
}  // namespace

Flow::Flow(double width, double height, double margin, std::string running_head)
    : width_(width), height_(height), margin_(margin), running_head_(std::move(running_head)) {
  pages_.push_back({width_, height_, {}});
  y_ = margin_;
}

void Flow::new_page() {
  pages_.push_back({width_, height_, {}});
  y_ = margin_;
  page().items.push_back(Label{{left(), y_ + 6}, fitted(running_head_, 7.5, inner()), 7.5, inks().quiet, Anchor::left, false, 0});
  page().items.push_back(PolyLine{{{left(), y_ + 11}, {right(), y_ + 11}}, inks().hairline, 0.7, Dash::solid, false});
  y_ += 24;
}

void Flow::need(double points) {
  if (y_ + points > bottom()) new_page();
}

void Flow::heading(const std::string& text, double with) {
  need(26 + with);
  y_ += 16;
  page().items.push_back(Label{{left(), y_}, text, 10, inks().ink, Anchor::left, true, 0});
  y_ += 8;
}

void Flow::paragraph(const std::string& text, double size, bool bold, double indent) {
  for (const auto& line : wrapped(text, size, inner() - indent, bold)) {
    need(size * kLeading);
    y_ += size * kLeading;
    page().items.push_back(Label{{left() + indent, y_ - size * 0.3}, line, size, inks().ink, Anchor::left, bold, 0});
  }
}

void Flow::bullet(const std::string& text, double size) {
  need(size * kLeading);
  page().items.push_back(Disc{{left() + 3, y_ + size * 0.72}, 1.1, inks().quiet, inks().quiet, 0});
  paragraph(text, size, false, 11);
  y_ += 1.5;
}

void Flow::put(const Scene& scene, double x) {
  need(scene.height);
  place(page(), scene, {x, y_});
  y_ += scene.height;
}

void Flow::table_head(const std::vector<Column>& columns, double size) {
  double x = left();
  const bool units = std::any_of(columns.begin(), columns.end(), [](const Column& c) { return !c.unit.empty(); });
  for (const auto& c : columns) {
    const double at = c.anchor == Anchor::left ? x : c.anchor == Anchor::right ? x + c.width - 4 : x + c.width / 2;
    page().items.push_back(Label{{at, y_ + size}, c.head, size, inks().quiet, c.anchor, false, 0});
    if (!c.unit.empty()) page().items.push_back(Label{{at, y_ + size * 2.2}, c.unit, size * 0.92, inks().quiet, c.anchor, false, 0});
    x += c.width;
  }
  y_ += size * (units ? 2.2 : 1) + 4;
  page().items.push_back(PolyLine{{{left(), y_}, {right(), y_}}, inks().quiet, 0.7, Dash::solid, false});
}

void Flow::table(const std::vector<Column>& columns, const std::vector<std::vector<Cell>>& rows, double size) {
  const double leading = size * kLeading;
  bool head = true;
  for (const auto& row : rows) {
    std::vector<std::vector<std::string>> cells;
    std::size_t lines = 1;
    for (std::size_t i = 0; i < columns.size(); ++i) {
      const std::string text = i < row.size() ? row[i].text : "";
      cells.push_back(wrapped(text, size, columns[i].width - 4, i < row.size() && row[i].bold));
      lines = std::max(lines, cells.back().size());
    }
    // A row taller than half a page may break between its lines; others keep together.
    const double whole = static_cast<double>(lines) * leading + 4;
    const bool breaks = whole > height_ / 2;
    if (head)
      need(size * 3 + 6 + (breaks ? leading * 2 : whole));
    else if (y_ + (breaks ? leading * 2 : whole) > bottom()) {
      new_page();
      head = true;
    }
    if (head) table_head(columns, size);
    head = false;
    y_ += 2;
    for (std::size_t k = 0; k < lines; ++k) {
      if (y_ + leading > bottom()) {
        new_page();
        table_head(columns, size);
      }
      double x = left();
      for (std::size_t i = 0; i < columns.size(); ++i) {
        const auto& c = columns[i];
        if (k < cells[i].size() && !cells[i][k].empty())
          page().items.push_back(Label{{c.anchor == Anchor::left    ? x
                                        : c.anchor == Anchor::right ? x + c.width - 4
                                                                    : x + c.width / 2,
                                        y_ + size * 1.02},
                                       cells[i][k],
                                       size,
                                       row[i].colour,
                                       c.anchor,
                                       row[i].bold,
                                       0});
        x += c.width;
      }
      y_ += leading;
    }
    y_ += 1.5;
    page().items.push_back(PolyLine{{{left(), y_}, {right(), y_}}, inks().hairline, 0.5, Dash::solid, false});
  }
}

std::vector<Scene> Flow::finished(const std::string& foot) {
  for (std::size_t i = 0; i < pages_.size(); ++i) {
    const std::string number = "page " + std::to_string(i + 1) + " of " + std::to_string(pages_.size());
    const double y = height_ - margin_ + 6;
    pages_[i].items.push_back(PolyLine{{{left(), y - 11}, {right(), y - 11}}, inks().hairline, 0.7, Dash::solid, false});
    pages_[i].items.push_back(Label{{left(), y}, fitted(foot, 7, inner() - text_width(number, 7) - 12), 7, inks().quiet, Anchor::left, false, 0});
    pages_[i].items.push_back(Label{{right(), y}, number, 7, inks().quiet, Anchor::right, false, 0});
  }
  return pages_;
}

}  // namespace uroko::report
