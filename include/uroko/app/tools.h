#pragma once
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "uroko/geometry/polygon.h"
#include "uroko/margin/margin.h"

namespace uroko::app {

enum class ToolId { loop, points, inside, outside, push, redraw, hole, part, ruler, disc, rectangle, board, midline, grey };
constexpr int kTools = 14;

struct ToolAbout {
  ToolId id;
  const char* name;   ///< under its key: "loop"
  const char* label;  ///< in lists: "Loop the wound"
  const char* key;
  const char* hint;   ///< what to do now, one line
  bool of_margin;     ///< needs a photo and works on the margin; otherwise on the scale or the colour
};
const ToolAbout& about(ToolId id);
/// How many clicks in the photo the tool wants; 0 where a number of them says nothing.
std::size_t picks_of(ToolId id);

/// The pointer over the photo. `pixel`: photo pixels that one screen pixel covers.
struct Pointer {
  ImagePoint at;
  double pixel = 1;
  bool shift = false, ctrl = false, alt = false;
};

/// What a tool asks for when a gesture ends. Nothing it holds is applied by the tool itself.
struct Effect {
  enum class Kind { commit, find_loop, find_point, find_part, refine, picks, grey } kind;
  std::string label;            ///< of the undo step
  ImageOutline outline;         ///< commit: the new one; find_*: the loop
  std::vector<ImagePoint> line; ///< refine: the stroke; picks: the reference's points; find_point, grey: one
  bool inside = true;           ///< refine: the stroke must be inside
};

/// A gesture as a state machine over a working copy of the outline, without a window.
class Tool {
 public:
  virtual ~Tool() = default;
  virtual ToolId id() const = 0;
  virtual std::optional<Effect> press(const Pointer&, const ImageOutline&) { return {}; }
  virtual std::optional<Effect> drag(const Pointer&, const ImageOutline&) { return {}; }
  virtual std::optional<Effect> release(const Pointer&, const ImageOutline&) { return {}; }
  virtual std::optional<Effect> double_click(const Pointer&, const ImageOutline&) { return {}; }
  virtual std::optional<Effect> accept(const ImageOutline&) { return {}; }            ///< Enter
  virtual std::optional<Effect> remove(const ImageOutline&) { return {}; }            ///< Delete
  virtual std::optional<Effect> nudge(double, double, const ImageOutline&) { return {}; }  ///< arrow keys, photo px
  virtual bool cancel() { return false; }                                             ///< Escape; false: nothing was under way
  virtual bool busy() const { return false; }

  /// For drawing: the outline as it would be, the line under the pointer, the points picked so far.
  virtual const ImageOutline* preview() const { return nullptr; }
  virtual const std::vector<ImagePoint>* line() const { return nullptr; }
  virtual std::optional<ImagePoint> selected() const { return {}; }
  virtual double brush_px() const { return 0; }  ///< screen px; 0: none
};
std::unique_ptr<Tool> make_tool(ToolId id);

}  // namespace uroko::app
