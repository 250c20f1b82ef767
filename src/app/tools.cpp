#include "uroko/app/tools.h"

#include <array>
#include <cmath>

#include "uroko/app/outline_edit.h"

namespace uroko::app {

namespace {

constexpr std::array<ToolAbout, kTools> kAbout{{
    {ToolId::loop, "loop", "Loop the wound", "L", "Draw a rough loop round the wound, or double-click in it. The margin is found inside.", true},
    {ToolId::points, "points", "Move points", "V", "Drag the margin to move it. Ctrl moves one point alone, Shift-click takes one away, arrows nudge.", true},
    {ToolId::inside, "inside", "Stroke what is wound", "S", "Stroke over wound that was left out. The margin moves near the stroke only.", true},
    {ToolId::outside, "outside", "Stroke what is skin", "X", "Stroke over skin that was taken in. The margin moves near the stroke only.", true},
    {ToolId::push, "push", "Push the margin", "B", "Push the margin with the brush.", true},
    {ToolId::redraw, "redraw", "Redraw a stretch", "W", "Draw from the margin to the margin: the stretch between is replaced.", true},
    {ToolId::hole, "hole", "Cut an island", "H", "Loop an island of skin inside the wound.", true},
    {ToolId::part, "part", "Add a second part", "P", "Loop another part of the same wound.", true},
    {ToolId::ruler, "ruler", "Scale from a ruler", "U", "Click two graduations on the ruler, then say how far apart they are.", false},
    {ToolId::disc, "disc", "Scale from a disc", "D", "Click a coin or disc lying beside the wound, then give its diameter.", false},
    {ToolId::rectangle, "rectangle", "Scale from a rectangle", "Q", "Click the four corners in order, then give width and height.", false},
    {ToolId::board, "board", "Scale from a checkerboard", "#", "The whole checkerboard mat in the photo: give its inner corners and the side of a square.", false},
    {ToolId::midline, "midline", "Curve of the flank", "R", "Click two points on the fish's lateral midline, far apart, then give the body's depth and width.", false},
    {ToolId::grey, "grey", "Pick a neutral grey", "K", "Click something that is truly grey or white and does not glare.", false},
}};

double length(const std::vector<ImagePoint>& line) {
  double sum = 0;
  for (std::size_t i = 0; i + 1 < line.size(); ++i) sum += uroko::distance(line[i], line[i + 1]);
  return sum;
}

/// Freehand line with points at least two screen pixels apart.
class Line {
 public:
  void begin(const Pointer& p) { points_.assign(1, p.at); }
  void add(const Pointer& p) {
    if (points_.empty() || uroko::distance(points_.back(), p.at) >= 2 * p.pixel) points_.push_back(p.at);
  }
  std::vector<ImagePoint> points_;
};

/// A loop drawn freehand, or clicked point by point and closed at its first point, by a double click or by Enter.
class LoopTool : public Tool {
 public:
  explicit LoopTool(ToolId id) : id_(id) {}
  ToolId id() const override { return id_; }
  std::optional<Effect> press(const Pointer& p, const ImageOutline&) override {
    if (clicking_ && line_.points_.size() >= 3 && uroko::distance(line_.points_.front(), p.at) < 10 * p.pixel) return close();
    if (clicking_)
      line_.points_.push_back(p.at);
    else
      line_.begin(p);
    pressed_ = true;
    return {};
  }
  std::optional<Effect> drag(const Pointer& p, const ImageOutline&) override {
    if (pressed_) line_.add(p);
    return {};
  }
  std::optional<Effect> release(const Pointer& p, const ImageOutline&) override {
    if (!pressed_) return {};
    pressed_ = false;
    if (!clicking_ && length(line_.points_) > 24 * p.pixel && line_.points_.size() >= 6) return close();
    clicking_ = true;
    return {};
  }
  std::optional<Effect> double_click(const Pointer& p, const ImageOutline& present) override {
    if (clicking_ && line_.points_.size() >= 3) return close();
    if (id_ == ToolId::hole) return {};
    cancel();
    (void)present;
    return Effect{Effect::Kind::find_point, "find the margin from a point", {}, {p.at}, true};
  }
  std::optional<Effect> accept(const ImageOutline&) override { return line_.points_.size() >= 3 ? close() : std::nullopt; }
  bool cancel() override {
    const bool was = busy();
    line_.points_.clear();
    clicking_ = pressed_ = false;
    return was;
  }
  bool busy() const override { return !line_.points_.empty(); }
  const std::vector<ImagePoint>* line() const override { return &line_.points_; }

 private:
  std::optional<Effect> close() {
    Effect e{id_ == ToolId::part ? Effect::Kind::find_part : Effect::Kind::find_loop, id_ == ToolId::part ? "add a part" : "loop the wound", {}, {}, true};
    e.outline.parts.push_back({line_.points_, {}});
    cancel();
    return e;
  }
  ToolId id_;
  Line line_;
  bool clicking_ = false, pressed_ = false;
};

class HoleTool : public LoopTool {
 public:
  HoleTool() : LoopTool(ToolId::hole) {}
  std::optional<Effect> press(const Pointer& p, const ImageOutline& o) override { return turned(LoopTool::press(p, o), o); }
  std::optional<Effect> release(const Pointer& p, const ImageOutline& o) override { return turned(LoopTool::release(p, o), o); }
  std::optional<Effect> double_click(const Pointer& p, const ImageOutline& o) override { return turned(LoopTool::double_click(p, o), o); }
  std::optional<Effect> accept(const ImageOutline& o) override { return turned(LoopTool::accept(o), o); }

 private:
  static std::optional<Effect> turned(std::optional<Effect> e, const ImageOutline& present) {
    if (!e) return {};
    ImageOutline loop = made_valid(e->outline);
    if (loop.empty() || present.empty()) return {};
    ImageOutline cut = difference(present, loop);
    if (cut.empty() || area(present) - area(cut) < 1e-6 * area(present)) return {};  // all of the wound, or nothing of it
    return Effect{Effect::Kind::commit, "cut an island", std::move(cut), {}, true};
  }
};

/// Grabs the margin anywhere: the stretch near the pointer follows softly.
class PointsTool : public Tool {
 public:
  ToolId id() const override { return ToolId::points; }
  std::optional<Effect> press(const Pointer& p, const ImageOutline& present) override {
    chosen_.reset();
    const auto near = nearest_on(present, p.at);
    if (!near || near->distance > 10 * p.pixel) return {};
    copy_ = present;
    auto place = *near;
    const auto vertex = nearest_vertex(present, p.at, 7 * p.pixel);
    if (vertex) place = *vertex;
    if (p.shift) {
      if (!vertex || !delete_vertex(*copy_, place.part, place.ring, place.edge)) {
        copy_.reset();
        return {};
      }
      Effect e{Effect::Kind::commit, "take a point away", std::move(*copy_), {}, true};
      copy_.reset();
      return e;
    }
    vertex_ = vertex ? place.edge : insert_vertex(*copy_, place, p.pixel);
    part_ = place.part;
    ring_ = place.ring;
    start_ = *copy_;
    from_ = p.at;
    moved_ = false;
    chosen_ = ring_of(*copy_, part_, ring_)[vertex_];
    return {};
  }
  std::optional<Effect> drag(const Pointer& p, const ImageOutline&) override {
    if (!copy_) return {};
    const double dx = p.at.x - from_.x, dy = p.at.y - from_.y;
    if (!moved_ && std::hypot(dx, dy) < 2 * p.pixel) return {};
    moved_ = true;
    copy_ = start_;
    auto& ring = ring_of(*copy_, part_, ring_);
    move_soft(ring, vertex_, dx, dy, p.ctrl ? 1e-9 : 44 * p.pixel);
    chosen_ = ring[vertex_];
    return {};
  }
  std::optional<Effect> release(const Pointer&, const ImageOutline&) override {
    if (!copy_) return {};
    std::optional<Effect> e;
    if (moved_) e = Effect{Effect::Kind::commit, "move the margin", *copy_, {}, true};
    copy_.reset();
    return e;
  }
  std::optional<Effect> double_click(const Pointer& p, const ImageOutline& present) override {
    const auto near = nearest_on(present, p.at);
    if (!near || near->distance > 10 * p.pixel) return {};
    ImageOutline out = present;
    insert_vertex(out, *near, 0.5 * p.pixel);
    chosen_ = near->at;
    copy_.reset();
    return Effect{Effect::Kind::commit, "insert a point", std::move(out), {}, true};
  }
  std::optional<Effect> remove(const ImageOutline& present) override {
    if (!chosen_) return {};
    const auto vertex = nearest_vertex(present, *chosen_, 1);
    ImageOutline out = present;
    if (!vertex || !delete_vertex(out, vertex->part, vertex->ring, vertex->edge)) return {};
    chosen_.reset();
    return Effect{Effect::Kind::commit, "take a point away", std::move(out), {}, true};
  }
  std::optional<Effect> nudge(double dx, double dy, const ImageOutline& present) override {
    if (!chosen_) return {};
    const auto vertex = nearest_vertex(present, *chosen_, 1);
    if (!vertex) return {};
    ImageOutline out = present;
    auto& p = ring_of(out, vertex->part, vertex->ring)[vertex->edge];
    p.x += dx;
    p.y += dy;
    chosen_ = p;
    return Effect{Effect::Kind::commit, "nudge a point", std::move(out), {}, true};
  }
  bool cancel() override {
    const bool was = copy_.has_value();
    copy_.reset();
    chosen_.reset();
    return was;
  }
  bool busy() const override { return copy_.has_value(); }
  const ImageOutline* preview() const override { return copy_ ? &*copy_ : nullptr; }
  std::optional<ImagePoint> selected() const override { return chosen_; }

 private:
  std::optional<ImageOutline> copy_;
  ImageOutline start_;
  std::size_t part_ = 0, ring_ = 0, vertex_ = 0;
  ImagePoint from_;
  bool moved_ = false;
  std::optional<ImagePoint> chosen_;
};

class StrokeTool : public Tool {
 public:
  explicit StrokeTool(bool inside) : inside_(inside) {}
  ToolId id() const override { return inside_ ? ToolId::inside : ToolId::outside; }
  std::optional<Effect> press(const Pointer& p, const ImageOutline&) override {
    line_.begin(p);
    flipped_ = p.shift;
    return {};
  }
  std::optional<Effect> drag(const Pointer& p, const ImageOutline&) override {
    if (busy()) line_.add(p);
    return {};
  }
  std::optional<Effect> release(const Pointer&, const ImageOutline&) override {
    if (!busy()) return {};
    const bool inside = inside_ != flipped_;
    Effect e{Effect::Kind::refine, inside ? "stroke what is wound" : "stroke what is skin", {}, line_.points_, inside};
    line_.points_.clear();
    return e;
  }
  bool cancel() override {
    const bool was = busy();
    line_.points_.clear();
    return was;
  }
  bool busy() const override { return !line_.points_.empty(); }
  const std::vector<ImagePoint>* line() const override { return &line_.points_; }

 private:
  bool inside_, flipped_ = false;
  Line line_;
};

class PushTool : public Tool {
 public:
  ToolId id() const override { return ToolId::push; }
  std::optional<Effect> press(const Pointer& p, const ImageOutline& present) override {
    if (present.empty()) return {};
    copy_ = densified(present, std::max(1.0, 3 * p.pixel));
    last_ = p.at;
    moved_ = false;
    return {};
  }
  std::optional<Effect> drag(const Pointer& p, const ImageOutline&) override {
    if (!copy_) return {};
    // Small steps, so that the brush does not jump over the margin.
    const double r = kRadius * p.pixel, dx = p.at.x - last_.x, dy = p.at.y - last_.y;
    const int steps = std::max(1, static_cast<int>(std::ceil(std::hypot(dx, dy) / (r / 4))));
    for (int i = 0; i < steps; ++i) {
      moved_ |= push(*copy_, last_, r, dx / steps, dy / steps);
      last_ = {last_.x + dx / steps, last_.y + dy / steps};
    }
    return {};
  }
  std::optional<Effect> release(const Pointer&, const ImageOutline&) override {
    if (!copy_) return {};
    std::optional<Effect> e;
    if (moved_) e = Effect{Effect::Kind::commit, "push the margin", *copy_, {}, true};
    copy_.reset();
    return e;
  }
  bool cancel() override {
    const bool was = copy_.has_value();
    copy_.reset();
    return was;
  }
  bool busy() const override { return copy_.has_value(); }
  const ImageOutline* preview() const override { return copy_ ? &*copy_ : nullptr; }
  double brush_px() const override { return kRadius; }

 private:
  static constexpr double kRadius = 36;  // screen px
  std::optional<ImageOutline> copy_;
  ImagePoint last_;
  bool moved_ = false;
};

class RedrawTool : public Tool {
 public:
  ToolId id() const override { return ToolId::redraw; }
  std::optional<Effect> press(const Pointer& p, const ImageOutline&) override {
    line_.begin(p);
    return {};
  }
  std::optional<Effect> drag(const Pointer& p, const ImageOutline&) override {
    if (busy()) line_.add(p);
    return {};
  }
  std::optional<Effect> release(const Pointer& p, const ImageOutline& present) override {
    if (!busy()) return {};
    const auto stroke = line_.points_;
    line_.points_.clear();
    const auto start = nearest_on(present, stroke.front()), end = nearest_on(present, stroke.back());
    if (!start || !end || start->distance > 30 * p.pixel || end->distance > 30 * p.pixel) return {};
    auto out = redrawn(present, stroke);
    if (!out) return {};
    if (find_fault(*out)) out = made_valid(*out);
    if (out->empty()) return {};
    return Effect{Effect::Kind::commit, "redraw a stretch", std::move(*out), {}, true};
  }
  bool cancel() override {
    const bool was = busy();
    line_.points_.clear();
    return was;
  }
  bool busy() const override { return !line_.points_.empty(); }
  const std::vector<ImagePoint>* line() const override { return &line_.points_; }

 private:
  Line line_;
};

/// Clicks that say where the reference is. Points may be dragged until all are there.
class PickTool : public Tool {
 public:
  explicit PickTool(ToolId id) : id_(id), wanted_(picks_of(id)) {}
  ToolId id() const override { return id_; }
  std::optional<Effect> press(const Pointer& p, const ImageOutline&) override {
    if (points_.size() >= wanted_) points_.clear();
    points_.push_back(p.at);
    return {};
  }
  std::optional<Effect> drag(const Pointer& p, const ImageOutline&) override {
    if (!points_.empty()) points_.back() = p.at;
    return {};
  }
  std::optional<Effect> release(const Pointer&, const ImageOutline&) override {
    if (points_.size() < wanted_) return {};
    return Effect{id_ == ToolId::grey ? Effect::Kind::grey : Effect::Kind::picks, about(id_).label, {}, points_, true};
  }
  bool cancel() override {
    const bool was = !points_.empty();
    points_.clear();
    return was;
  }
  bool busy() const override { return !points_.empty() && points_.size() < wanted_; }
  const std::vector<ImagePoint>* line() const override { return &points_; }

 private:
  ToolId id_;
  std::size_t wanted_;
  std::vector<ImagePoint> points_;
};

/// A reference that is found by itself: nothing to click.
class NoPickTool : public Tool {
 public:
  explicit NoPickTool(ToolId id) : id_(id) {}
  ToolId id() const override { return id_; }

 private:
  ToolId id_;
};

}  // namespace

const ToolAbout& about(ToolId id) { return kAbout[static_cast<std::size_t>(id)]; }

std::size_t picks_of(ToolId id) {
  switch (id) {
    case ToolId::ruler:
    case ToolId::midline: return 2;
    case ToolId::rectangle: return 4;
    case ToolId::disc:
    case ToolId::grey: return 1;
    default: return 0;
  }
}

std::unique_ptr<Tool> make_tool(ToolId id) {
  switch (id) {
    case ToolId::loop:
    case ToolId::part: return std::make_unique<LoopTool>(id);
    case ToolId::points: return std::make_unique<PointsTool>();
    case ToolId::inside: return std::make_unique<StrokeTool>(true);
    case ToolId::outside: return std::make_unique<StrokeTool>(false);
    case ToolId::push: return std::make_unique<PushTool>();
    case ToolId::redraw: return std::make_unique<RedrawTool>();
    case ToolId::hole: return std::make_unique<HoleTool>();
    case ToolId::ruler:
    case ToolId::disc:
    case ToolId::rectangle:
    case ToolId::midline:
    case ToolId::grey: return std::make_unique<PickTool>(id);
    case ToolId::board: return std::make_unique<NoPickTool>(id);
  }
  return nullptr;
}

}  // namespace uroko::app
