// The guide over the window: its pages at the left, the open one at the right.
#include <algorithm>

#include "gui/panels.h"

namespace uroko::gui {

void draw_guide(Ui& ui, const Box& box) {
  const auto& guide = ui.session.guide;
  if (!guide.open) return;
  const float w = std::min(ui.px(980), box.w - ui.px(32)), h = box.h - ui.px(64);
  const Box b{box.x + (box.w - w) / 2, box.y + ui.px(32), w, h};
  ui.begin_over("guide", b, true);
  ui.frame(b, ui.c().muted, ui.px(8));
  const float list_w = std::min(ui.px(250), b.w * 0.32f), row = ui.px(40);
  ui.begin_scroll("guide.pages", {b.x + ui.px(8), b.y + ui.px(12), list_w, b.h - ui.px(24)});
  float y = b.y + ui.px(12) - ImGui::GetScrollY();
  for (std::size_t i = 0; i < guide.pages.size(); ++i) {
    const Box line{b.x + ui.px(8), y, list_w - ui.px(8), row - ui.px(2)};
    const bool shown = static_cast<int>(i) == guide.page;
    const auto hit = ui.hit("guide.page." + guide.pages[i].name, line);
    if (shown) ui.fill(line, ui.c().act_soft, ui.px(4));
    else if (hit.hovered) ui.fill(line, ui.c().sunk, ui.px(4));
    auto* font = ui.style.fonts.body;
    ui.text(line.x + ui.px(10), line.y + (line.h - font->FontSize) / 2, ui.fitted(guide.pages[i].title, line.w - ui.px(20), font), font, shown ? ui.c().ink : ui.c().act);
    if (hit.clicked) ui.intents.add([i](app::Session& session) { session.show_guide(static_cast<int>(i)); });
    y += row;
  }
  ui.end_scroll(y);
  ui.hairline(b.x + list_w + ui.px(12), b.y + ui.px(12), b.x + list_w + ui.px(12), b.bottom() - ui.px(12));

  const Box text{b.x + list_w + ui.px(28), b.y + ui.px(12), b.w - list_w - ui.px(40), b.h - ui.px(24)};
  // A scroll position for each page.
  ui.begin_scroll("guide.text." + std::to_string(guide.page), text);
  const float width = text.w - ui.px(60);
  y = text.y - ImGui::GetScrollY();
  using Kind = app::GuideBlock::Kind;
  auto last = Kind::title;
  for (const auto& block : guide.blocks) {
    const bool follows = block.kind == last && (block.kind == Kind::code || block.kind == Kind::row || block.kind == Kind::item);
    if (&block != &guide.blocks.front()) y += block.kind == Kind::heading ? ui.px(20) : follows ? ui.px(3) : ui.px(10);
    auto* font = block.kind == Kind::title || block.kind == Kind::heading ? ui.style.fonts.title : block.kind == Kind::code ? ui.style.fonts.small : ui.style.fonts.body;
    const bool code = block.kind == Kind::code;
    const float indent = block.kind == Kind::item || code ? ui.px(14) : 0;
    y += ui.wrapped(text.x + indent, y, width - indent, block.text.empty() ? " " : block.text, font, code || block.kind == Kind::row ? ui.c().muted : ui.c().ink);
    last = block.kind;
  }
  ui.end_scroll(y + ui.px(24));

  const Box close{b.right() - ui.px(44), b.y + ui.px(8), ui.px(32), ui.px(32)};
  const auto hit = ui.hit("guide.close", close);
  if (hit.hovered) ui.fill(close, ui.c().sunk, ui.px(4));
  const ImVec2 m = close.middle();
  const float r = ui.px(5);
  ui.draw->AddLine({m.x - r, m.y - r}, {m.x + r, m.y + r}, ui.c().ink, 1.5f);
  ui.draw->AddLine({m.x - r, m.y + r}, {m.x + r, m.y - r}, ui.c().ink, 1.5f);
  if (hit.clicked) ui.intents.run("edit.escape");
  ui.end_over();
}

}  // namespace uroko::gui
