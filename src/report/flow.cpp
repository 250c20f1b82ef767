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

void Flow::open(const std::string& type, const std::string& alt) {
  open_.emplace_back(type, page().tags.size());
  page().tags.push_back({type, page().items.size(), page().items.size(), alt});
}

void Flow::close() {
  page().tags[open_.back().second].end = page().items.size();
  open_.pop_back();
}

void Flow::new_page() {
  for (const auto& [type, index] : open_) page().tags[index].end = page().items.size();
  pages_.push_back({width_, height_, {}});
  y_ = margin_;
  page().items.push_back(Label{{left(), y_ + 6}, fitted(running_head_, 7.5, inner()), 7.5, inks().quiet, Anchor::left, false, 0});
  page().items.push_back(PolyLine{{{left(), y_ + 11}, {right(), y_ + 11}}, inks().hairline, 0.7, Dash::solid, false});
  y_ += 24;
  for (auto& [type, index] : open_) {
    index = page().tags.size();
    page().tags.push_back({type, page().items.size(), page().items.size(), {}});
  }
}

void Flow::need(double points) {
  if (y_ + points > bottom()) new_page();
}

void Flow::heading(const std::string& text, double with) {
  need(26 + with);
  y_ += 16;
  open("H2");
  page().items.push_back(Label{{left(), y_}, text, 10, inks().ink, Anchor::left, true, 0});
  close();
  y_ += 8;
}

void Flow::paragraph(const std::string& text, double size, bool bold, double indent) {
  open("P");
  for (const auto& line : wrapped(text, size, inner() - indent, bold)) {
    need(size * kLeading);
    y_ += size * kLeading;
    page().items.push_back(Label{{left() + indent, y_ - size * 0.3}, line, size, inks().ink, Anchor::left, bold, 0});
  }
  close();
}

void Flow::bullet(const std::string& text, double size) {
  need(size * kLeading);
  open("LI");
  open("Lbl");
  page().items.push_back(Disc{{left() + 3, y_ + size * 0.72}, 1.1, inks().quiet, inks().quiet, 0});
  close();
  open("LBody");
  paragraph(text, size, false, 11);
  close();
  close();
  y_ += 1.5;
}

void Flow::put(const Scene& scene, double x, const std::string& alt) {
  need(scene.height);
  if (!alt.empty()) open("Figure", alt);
  place(page(), scene, {x, y_});
  if (!alt.empty()) close();
  y_ += scene.height;
}

double Flow::head_height(const std::vector<Column>& columns, double size) const {
  const bool units = std::any_of(columns.begin(), columns.end(), [](const Column& c) { return !c.unit.empty(); });
  return size * (units ? 2.2 : 1) + 4;
}

void Flow::table_head(const std::vector<Column>& columns, double size) {
  double x = left();
  open("TR");
  for (const auto& c : columns) {
    const double at = c.anchor == Anchor::left ? x : c.anchor == Anchor::right ? x + c.width - 4 : x + c.width / 2;
    open("TH");
    page().items.push_back(Label{{at, y_ + size}, c.head, size, inks().quiet, c.anchor, false, 0});
    if (!c.unit.empty()) page().items.push_back(Label{{at, y_ + size * 2.2}, c.unit, size * 0.92, inks().quiet, c.anchor, false, 0});
    close();
    x += c.width;
  }
  close();
  y_ += head_height(columns, size);
  page().items.push_back(PolyLine{{{left(), y_}, {right(), y_}}, inks().quiet, 0.7, Dash::solid, false});
}

namespace {

using Lines = std::vector<std::vector<std::string>>;  // of each cell

Lines broken(const std::vector<Column>& columns, const std::vector<Cell>& row, double size, std::size_t& most) {
  Lines cells;
  most = 1;
  for (std::size_t i = 0; i < columns.size(); ++i) {
    cells.push_back(i < row.size() ? wrapped(row[i].text, size, columns[i].width - 4, row[i].bold) : std::vector<std::string>{});
    most = std::max(most, cells.back().size());
  }
  return cells;
}

constexpr double kAbove = 2, kBelow = 1.5;  // of a row

}  // namespace

double Flow::table_height(const std::vector<Column>& columns, const std::vector<std::vector<Cell>>& rows, double size) const {
  double height = head_height(columns, size);
  for (const auto& row : rows) {
    std::size_t lines = 1;
    broken(columns, row, size, lines);
    height += kAbove + kBelow + static_cast<double>(lines) * size * kLeading;
  }
  return height;
}

void Flow::table(const std::vector<Column>& columns, const std::vector<std::vector<Cell>>& rows, double size) {
  const double leading = size * kLeading;
  bool head = true;
  open("Table");
  for (const auto& row : rows) {
    std::size_t lines = 1;
    const auto cells = broken(columns, row, size, lines);
    // A row taller than half a page may break between its lines; others keep together.
    const double whole = static_cast<double>(lines) * leading + kAbove + kBelow;
    const bool breaks = whole > height_ / 2;
    if (head)
      need(head_height(columns, size) + (breaks ? leading * 2 : whole));
    else if (y_ + (breaks ? leading * 2 : whole) > bottom()) {
      new_page();
      head = true;
    }
    if (head) table_head(columns, size);
    head = false;
    y_ += kAbove;
    // As many lines as the page holds, each cell's together, so that it is read cell by cell.
    for (std::size_t from = 0; from < lines;) {
      const auto fit = static_cast<std::size_t>(std::max(0.0, (bottom() - y_) / leading + 1e-6));
      const std::size_t to = std::min(lines, from + fit);
      if (to > from) {
        open("TR");
        double x = left();
        for (std::size_t i = 0; i < columns.size(); ++i) {
          const auto& c = columns[i];
          open("TD");
          for (std::size_t k = from; k < std::min(to, cells[i].size()); ++k)
            page().items.push_back(Label{{c.anchor == Anchor::left    ? x
                                          : c.anchor == Anchor::right ? x + c.width - 4
                                                                      : x + c.width / 2,
                                          y_ + static_cast<double>(k - from) * leading + size * 1.02},
                                         cells[i][k],
                                         size,
                                         row[i].colour,
                                         c.anchor,
                                         row[i].bold,
                                         0});
          close();
          x += c.width;
        }
        close();
        y_ += static_cast<double>(to - from) * leading;
        from = to;
      }
      if (from < lines) {
        new_page();
        table_head(columns, size);
      }
    }
    y_ += kBelow;
    page().items.push_back(PolyLine{{{left(), y_}, {right(), y_}}, inks().hairline, 0.5, Dash::solid, false});
  }
  close();
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
