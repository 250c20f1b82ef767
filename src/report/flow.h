#pragma once
// Things stacked down a page and over to the next. Private to the room.
#include <functional>
#include <string>
#include <vector>

#include "uroko/report/paint.h"
#include "uroko/report/scene.h"

namespace uroko::report {

struct Column {
  std::string head, unit;  ///< two short lines
  double width = 40;       ///< points
  Anchor anchor = Anchor::left;
};
struct Cell {
  std::string text;
  bool bold = false;
  Colour colour{32, 36, 43};
};

class Flow {
 public:
  Flow(double width, double height, double margin, std::string running_head);

  double left() const { return margin_; }
  double right() const { return width_ - margin_; }
  double inner() const { return width_ - 2 * margin_; }
  double y() const { return y_; }
  double room() const { return bottom() - y_; }
  Scene& page() { return pages_.back(); }

  /// What follows until `close` is of that structure type (Tag in scene.h), over page breaks too.
  void open(const std::string& type, const std::string& alt = {});
  void close();

  void space(double points) { y_ += points; }
  /// Starts a new page unless that much is left.
  void need(double points);
  void new_page();
  /// A heading, kept with at least `with` points of what follows.
  void heading(const std::string& text, double with = 40);
  void paragraph(const std::string& text, double size = 8.5, bool bold = false, double indent = 0);
  void bullet(const std::string& text, double size = 8.5);
  /// At the cursor, which moves below it. `alt` not empty: a Figure that shows that.
  void put(const Scene& scene, double x, const std::string& alt = {});
  /// Rows flow over pages; the head is repeated.
  void table(const std::vector<Column>& columns, const std::vector<std::vector<Cell>>& rows, double size = 7.5);
  /// How high that table is on one page.
  double table_height(const std::vector<Column>& columns, const std::vector<std::vector<Cell>>& rows, double size = 7.5) const;
  /// How high a page is from its head to its foot.
  double page_room() const { return bottom() - margin_ - 24; }

  /// The pages with their feet: `foot` left, page x of y right.
  std::vector<Scene> finished(const std::string& foot);

 private:
  double bottom() const { return height_ - margin_ - 14; }
  double head_height(const std::vector<Column>& columns, double size) const;
  void table_head(const std::vector<Column>& columns, double size);

  double width_, height_, margin_, y_ = 0;
  std::string running_head_;
  std::vector<Scene> pages_;
  std::vector<std::pair<std::string, std::size_t>> open_;  // type, index among the page's tags
};

}  // namespace uroko::report
