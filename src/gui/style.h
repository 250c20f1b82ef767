#pragma once
#include <imgui.h>

#include "uroko/app/settings.h"

namespace uroko::gui {

/// Quiet by default (`edge`: round what can be typed in, 3:1 against the ground): paper ground, ink, one indigo for what can be acted on; vermilion for due and restarts, amber for warnings.
struct Colours {
  ImU32 ground, sunk, ink, muted, hairline, edge, act, act_soft, on_act, due, warn, warn_soft, good, photo_ground, over, on_over;
};
const Colours& colours(app::Theme theme);

/// Three text sizes and one large figure, in unscaled pixels.
constexpr float kSmall = 12, kBody = 14, kTitle = 19, kFigure = 46;

struct Fonts {
  ImFont *small = nullptr, *small_bold = nullptr, *body = nullptr, *bold = nullptr, *title = nullptr, *figure = nullptr;
};

struct Style {
  app::Theme theme = app::Theme::light;
  float scale = 1;  ///< screen pixels per unscaled pixel
  Fonts fonts;
  const Colours& c() const { return colours(theme); }
};

/// DejaVu Sans from the distribution into the atlas, for that scale. Throws Error(Fault::usage) when the font is not installed.
Fonts load_fonts(ImFontAtlas& atlas, float scale);
/// ImGui's own widgets (text fields, scroll bars) in our colours.
void apply_style(const Style& style);

}  // namespace uroko::gui
