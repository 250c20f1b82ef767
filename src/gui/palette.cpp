// Every command with its keys, found by typing; and the notices.
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

void draw_notices(Ui& ui, const Box& photo) {
  const auto& s = ui.session;
  float y = photo.y + ui.px(12);
  const float w = std::min(ui.px(520), photo.w - ui.px(110)), x = photo.x + photo.w - w - ui.px(12);
  if (w < ui.px(120)) return;
  for (std::size_t i = 0; i < s.notices.size(); ++i) {
    const auto& n = s.notices[i];
    const float tw = w - ui.px(64);
    const float lines = ui.wrapped_height(tw, n.text, ui.style.fonts.body) * 1.2f + (n.advice.empty() ? 0 : ui.wrapped_height(tw, n.advice, ui.style.fonts.small) * 1.22f);
    const Box b{x, y, w, lines + ui.px(18)};
    ui.fill(b, ui.c().ground, ui.px(6));
    ui.frame(b, ui.c().hairline, ui.px(6));
    ui.fill({b.x, b.y + ui.px(6), ui.px(3), b.h - ui.px(12)}, n.kind == app::Notice::Kind::trouble ? ui.c().warn : ui.c().good);
    float ty = y + ui.px(8);
    ty += ui.wrapped(b.x + ui.px(16), ty, tw, n.text, ui.style.fonts.body, ui.c().ink);
    if (!n.advice.empty()) ui.wrapped(b.x + ui.px(16), ty, tw, n.advice, ui.style.fonts.small, ui.c().muted);
    const Box close{b.right() - ui.px(36), b.y + ui.px(6), ui.px(28), ui.px(28)};
    const auto hit = ui.hit("notice." + std::to_string(i) + ".close", close);
    if (hit.clicked) ui.intents.add([i](app::Session& session) { session.put_notice_away(i); });
    const ImVec2 m = close.middle();
    const float d = 4 * ui.style.scale;
    ui.draw->AddLine({m.x - d, m.y - d}, {m.x + d, m.y + d}, hit.hovered ? ui.c().ink : ui.c().muted, 1.4f * ui.style.scale);
    ui.draw->AddLine({m.x - d, m.y + d}, {m.x + d, m.y - d}, hit.hovered ? ui.c().ink : ui.c().muted, 1.4f * ui.style.scale);
    y += b.h + ui.px(8);
  }
  auto running = s.jobs.running();
  std::erase_if(running, [](const auto& job) { return job.quiet; });
  if (!running.empty()) {
    auto* small = ui.style.fonts.small;
    const std::string label = running.front().label + (running.size() > 1 ? " and " + std::to_string(running.size() - 1) + " more" : "") + " \u2026";
    const float lw = ui.text_width(label, small) + ui.px(64);
    const Box b{photo.right() - lw - ui.px(12), y, lw, ui.px(28)};
    ui.fill(b, ui.c().over, ui.px(4));
    ui.text(b.x + ui.px(10), b.y + (b.h - small->FontSize) / 2, label, small, ui.c().on_over);
    const auto hit = ui.hit("window.cancel_jobs", {b.right() - ui.px(48), b.y, ui.px(48), b.h});
    if (hit.clicked) ui.intents.run("window.cancel_jobs");
    ui.text(b.right() - ui.px(10), b.y + (b.h - small->FontSize) / 2, "stop", small, hit.hovered ? IM_COL32_WHITE : with_alpha(ui.c().on_over, 170), Align::right);
  }
}

}  // namespace uroko::gui
