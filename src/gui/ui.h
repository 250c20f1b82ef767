#pragma once
#include <cmath>
#include <functional>
#include <map>
#include <string>
#include <vector>

#include "gui/style.h"
#include "gui/textures.h"
#include "uroko/app/session.h"

namespace uroko::gui {

struct Box {
  float x = 0, y = 0, w = 0, h = 0;
  float right() const { return x + w; }
  float bottom() const { return y + h; }
  ImVec2 low() const { return {x, y}; }
  ImVec2 high() const { return {x + w, y + h}; }
  ImVec2 middle() const { return {x + w / 2, y + h / 2}; }
  Box inset(float d) const { return {x + d, y + d, w - 2 * d, h - 2 * d}; }
  bool holds(const ImVec2& p) const { return p.x >= x && p.y >= y && p.x < x + w && p.y < y + h; }
  bool operator==(const Box&) const = default;
};

/// Calls `draw` at `from`, `from` + `step` and so on, below `to`; px.
template <class Draw> void each_step(float from, float to, float step, Draw draw) {
  const int count = step > 0 ? static_cast<int>(std::ceil((to - from) / step)) : 0;
  for (int i = 0; i < count; ++i) draw(from + static_cast<float>(i) * step);
}

/// A drawing kept from the frame before while nothing in it changed.
struct KeptChart {
  std::string of;
  report::Chart chart;
};

/// The text field that Enter was pressed in: it gets the keyboard back, caret last, when its form is still there (a fault to mend).
struct EnterField {
  std::string name;           ///< asks for the keyboard in the next frame it is drawn in
  std::string caret_to_end;   ///< has just got it
};

enum class Align { left, middle, right };
enum class Look { primary, plain, quiet };

/// What drawing needs: constant state in, intents out, and the small vocabulary of widgets. Every widget has a name; `places` tells
/// where each stood in the last frame (tests press them there).
struct Ui {
  const app::Session& session;
  app::Intents& intents;
  const Style& style;
  Textures& textures;
  std::map<std::string, Box>& places;
  std::map<std::string, std::string>& fields;
  std::string& focus;
  EnterField& enter_field;
  KeptChart& kept_chart;
  double time = 0;
  bool again = false;  ///< asks for another frame soon (uploads left)

  ImDrawList* draw = nullptr;
  ImDrawList* under = nullptr;  ///< what `draw` was before begin_over
  const Colours& c() const { return style.c(); }
  float px(double unscaled) const { return std::round(static_cast<float>(unscaled) * style.scale); }

  // --- drawing
  float text(float x, float y, const std::string& s, ImFont* font, ImU32 colour, Align align = Align::left) const;  ///< y: top; its width
  float text_width(const std::string& s, ImFont* font) const;
  float wrapped(float x, float y, float width, const std::string& s, ImFont* font, ImU32 colour) const;  ///< its height
  float wrapped_height(float width, const std::string& s, ImFont* font) const;
  std::string fitted(const std::string& s, float width, ImFont* font) const;
  void fill(const Box& b, ImU32 colour, float rounding = 0) const;
  void frame(const Box& b, ImU32 colour, float rounding = 0, float width = 1) const;
  void hairline(float x0, float y0, float x1, float y1) const;
  void hatch(const Box& b, float step, bool rising, ImU32 colour, float width = 1) const;  ///< lines at 45 degrees; the caller clips
  void dots(const Box& b, float step, float radius, ImU32 colour) const;
  void dashed(const std::vector<ImVec2>& points, ImU32 colour, float width, float dash, bool closed) const;
  void heading(float x, float y, const std::string& s) const;

  // --- widgets
  struct Hit {
    bool clicked = false, hovered = false, held = false;
  };
  Hit hit(const std::string& name, const Box& b);
  bool button(const std::string& name, const Box& b, const std::string& label, Look look, bool enabled = true, const std::string& tip = {}, const std::string& key = {});
  /// A button for a command: its tip and key from the registry.
  void command_button(const std::string& id, const Box& b, const std::string& label, Look look);
  /// A text field; `changed` becomes an intent. True when Enter was pressed in it.
  bool field(const std::string& name, const Box& b, const std::string& value, const std::string& hint, const std::function<void(app::Session&, std::string)>& changed, bool take_focus = false);
  /// Label over a field; its whole height.
  float labelled_field(const std::string& name, float x, float y, float w, const std::string& label, const std::string& value, const std::string& hint,
                       const std::function<void(app::Session&, std::string)>& changed, bool take_focus = false);
  void tip(const std::string& text, const std::string& key = {});

  /// A window of its own over the screen; draw inside between begin and end. The one that takes the keys is in front.
  void begin_over(const char* name, const Box& b, bool takes_keys);
  void end_over();

  /// A scrolling part of the window; draw inside between begin and end. `content`: height of what was drawn.
  void begin_scroll(const std::string& name, const Box& b);
  void end_scroll(float content_bottom);
};

ImU32 with_alpha(ImU32 colour, int alpha);

}  // namespace uroko::gui
