// Every command with its keys, found by typing.
#include <algorithm>

#include "gui/panels.h"

namespace uroko::gui {

void draw_palette(Ui& ui, const Box& box) {
  const auto& s = ui.session;
  if (!s.palette.open) return;
  const auto found = app::matching_commands(s.palette.text);
  const float w = std::min(ui.px(620), box.w - ui.px(32)), row = ui.px(40);
  const int shown = std::min({static_cast<int>(found.size()), std::max(1, static_cast<int>((box.h - ui.px(160)) / row)), 12});
  const int at = std::clamp(s.palette.at, 0, std::max(0, static_cast<int>(found.size()) - 1));
  const Box b{box.x + (box.w - w) / 2, box.y + ui.px(56), w, ui.px(60) + static_cast<float>(std::max(1, shown)) * row + ui.px(8)};
  ui.begin_over("palette", b, true);
  ui.frame(b, ui.c().muted, ui.px(8));
  const bool enter = ui.field("palette.text", {b.x + ui.px(12), b.y + ui.px(12), b.w - ui.px(24), ui.px(36)}, s.palette.text, "What do you want to do?", [](app::Session& session, std::string text) {
    session.palette.text = std::move(text);
    session.palette.at = 0;
  }, true);
  float y = b.y + ui.px(56);
  const int start = std::clamp(at - shown / 2, 0, std::max(0, static_cast<int>(found.size()) - shown));
  if (found.empty()) ui.text(b.x + ui.px(20), y + ui.px(10), "No command of that name.", ui.style.fonts.body, ui.c().muted);
  for (int i = start; i < start + shown && i < static_cast<int>(found.size()); ++i) {
    const auto& c = *found[static_cast<std::size_t>(i)];
    const bool enabled = !c.enabled || c.enabled(s);
    const Box line{b.x + ui.px(8), y, b.w - ui.px(16), row - ui.px(2)};
    const auto hit = ui.hit("palette." + c.id, line);
    if (i == at) ui.fill(line, ui.c().act_soft, ui.px(4));
    else if (hit.hovered) ui.fill(line, ui.c().sunk, ui.px(4));
    const ImU32 ink = enabled ? ui.c().ink : ui.c().muted;
    std::string keys;
    for (const auto& key : c.keys) keys += (keys.empty() ? "" : "  ") + key;
    auto* small = ui.style.fonts.small;
    const float kw = ui.text(line.right() - ui.px(10), line.y + (line.h - small->FontSize) / 2, keys, small, ui.c().muted, Align::right);
    ui.text(line.x + ui.px(12), line.y + ui.px(2), c.label, ui.style.fonts.body, ink);
    ui.text(line.x + ui.px(12), line.y + ui.px(20), ui.fitted(c.tip, line.w - kw - ui.px(40), small), small, ui.c().muted);
    if ((hit.clicked || (enter && i == at)) && enabled)
      ui.intents.add([id = c.id](app::Session& session) {
        session.palette = {};
        session.run(id);
      });
    y += row;
  }
  ui.end_over();
}

}  // namespace uroko::gui
