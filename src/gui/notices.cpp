// What happened, over the photo's corner: what could not be saved, what was done or failed, what runs; and what waits for the last write.
#include <algorithm>

#include "gui/panels.h"

namespace uroko::gui {

namespace {

struct Said {
  const std::string &text, &advice;
  ImU32 mark;
  float foot;  ///< room for buttons below
};

/// The frame and its words; where it stands.
Box say(Ui& ui, float x, float y, float w, const Said& n) {
  const float tw = w - ui.px(64);
  const float lines = ui.wrapped_height(tw, n.text, ui.style.fonts.body) * 1.2f + (n.advice.empty() ? 0 : ui.wrapped_height(tw, n.advice, ui.style.fonts.small) * 1.22f);
  const Box b{x, y, w, lines + ui.px(18) + n.foot};
  ui.fill(b, ui.c().ground, ui.px(6));
  ui.frame(b, ui.c().hairline, ui.px(6));
  ui.fill({b.x, b.y + ui.px(6), ui.px(3), b.h - ui.px(12)}, n.mark);
  float ty = y + ui.px(8);
  ty += ui.wrapped(b.x + ui.px(16), ty, tw, n.text, ui.style.fonts.body, ui.c().ink);
  if (!n.advice.empty()) ui.wrapped(b.x + ui.px(16), ty, tw, n.advice, ui.style.fonts.small, ui.c().muted);
  return b;
}

/// A dark strip with what runs; its width is the label's.
Box strip(Ui& ui, float right, float y, const std::string& label, float room) {
  auto* small = ui.style.fonts.small;
  const float lw = ui.text_width(label, small) + ui.px(20) + room;
  const Box b{right - lw, y, lw, ui.px(28)};
  ui.fill(b, ui.c().over, ui.px(4));
  ui.text(b.x + ui.px(10), b.y + (b.h - small->FontSize) / 2, label, small, ui.c().on_over);
  return b;
}

}  // namespace

void draw_notices(Ui& ui, const Box& photo) {
  const auto& s = ui.session;
  float y = photo.y + ui.px(12);
  const float w = std::min(ui.px(520), photo.w - ui.px(110)), x = photo.x + photo.w - w - ui.px(12);
  if (w < ui.px(120)) return;
  for (std::size_t i = 0; i < s.not_saved.size(); ++i) {
    const auto& n = s.not_saved[i];
    const Box b = say(ui, x, y, w, {n.text, n.advice, ui.c().due, ui.px(42)});
    const float by = b.bottom() - ui.px(42), bw = ui.px(110);
    const auto name = "notsaved." + std::to_string(i);
    if (ui.button(name + ".again", {b.x + ui.px(16), by, bw, ui.px(32)}, "Try again", Look::primary)) ui.intents.add([i](app::Session& session) { session.try_again(i); });
    if (ui.button(name + ".drop", {b.x + ui.px(24) + bw, by, bw, ui.px(32)}, "Leave it out", Look::plain, true, "It is not saved and cannot be had back")) ui.intents.add([i](app::Session& session) { session.give_up(i); });
    y += b.h + ui.px(8);
  }
  for (std::size_t i = 0; i < s.notices.size(); ++i) {
    const auto& n = s.notices[i];
    const Box b = say(ui, x, y, w, {n.text, n.advice, n.kind == app::Notice::Kind::trouble ? ui.c().warn : ui.c().good, 0});
    const Box close{b.right() - ui.px(36), b.y + ui.px(6), ui.px(28), ui.px(28)};
    const auto hit = ui.hit("notice." + std::to_string(i) + ".close", close);
    if (hit.clicked) ui.intents.add([i](app::Session& session) { session.put_notice_away(i); });
    const ImVec2 m = close.middle();
    const float d = 4 * ui.style.scale;
    ui.draw->AddLine({m.x - d, m.y - d}, {m.x + d, m.y + d}, hit.hovered ? ui.c().ink : ui.c().muted, 1.4f * ui.style.scale);
    ui.draw->AddLine({m.x - d, m.y + d}, {m.x + d, m.y - d}, hit.hovered ? ui.c().ink : ui.c().muted, 1.4f * ui.style.scale);
    y += b.h + ui.px(8);
  }
  const float right = photo.right() - ui.px(12);
  if (const auto* saving = s.saving()) {
    const std::string more = s.writes_waiting() > 1 ? " and " + std::to_string(s.writes_waiting() - 1) + " more" : "";
    y += strip(ui, right, y, *saving + more + " \u2026", 0).h + ui.px(4);
  }
  auto running = s.running();
  std::erase_if(running, [](const auto& job) { return job.quiet; });
  if (!running.empty()) {
    auto* small = ui.style.fonts.small;
    const Box b = strip(ui, right, y, running.front().label + (running.size() > 1 ? " and " + std::to_string(running.size() - 1) + " more" : "") + " \u2026", ui.px(44));
    const auto hit = ui.hit("window.cancel_jobs", {b.right() - ui.px(48), b.y, ui.px(48), b.h});
    if (hit.clicked) ui.intents.run("window.cancel_jobs");
    ui.text(b.right() - ui.px(10), b.y + (b.h - small->FontSize) / 2, "stop", small, hit.hovered ? IM_COL32_WHITE : with_alpha(ui.c().on_over, 170), Align::right);
  }
}

void draw_leaving(Ui& ui, const Box& all) {
  const auto& s = ui.session;
  if (!s.leaving()) return;
  const bool asks = !s.saving() && !s.not_saved.empty();
  const std::string title = asks ? "Not everything is saved" : "Saving, please wait";
  std::string words = asks ? s.not_saved.front().text + " " + s.not_saved.front().advice : (s.saving() ? *s.saving() + " \u2026 " : std::string());
  if (asks && s.not_saved.size() > 1) words += " And " + std::to_string(s.not_saved.size() - 1) + " more.";
  if (!asks) words += *s.leaving() + " comes after that, by itself.";
  const float pad = ui.px(20), w = std::min(ui.px(470), all.w - ui.px(32)), inner = w - 2 * pad;
  const float h = pad + ui.px(34) + ui.wrapped_height(inner, words, ui.style.fonts.body) * 1.3f + ui.px(16) + ui.px(36) + pad;
  const Box b{all.x + (all.w - w) / 2, all.y + std::max(ui.px(16), (all.h - h) / 3), w, h};
  ui.begin_over("leaving", b, true);
  ui.fill(b, ui.c().ground, ui.px(8));
  ui.frame(b, ui.c().act, ui.px(8), 1.5f * ui.style.scale);
  ui.text(b.x + pad, b.y + pad, title, ui.style.fonts.title, ui.c().ink);
  ui.wrapped(b.x + pad, b.y + pad + ui.px(34), inner, words, ui.style.fonts.body, ui.c().ink);
  const float by = b.bottom() - pad - ui.px(36), gap = ui.px(8), bw = (inner - 2 * gap) / 3;
  if (asks) {
    if (ui.button("leaving.again", {b.x + pad, by, bw, ui.px(36)}, "Try again", Look::primary))
      ui.intents.add([](app::Session& session) {
        while (!session.not_saved.empty()) session.try_again(0);
      });
    if (ui.button("leaving.without", {b.x + pad + bw + gap, by, bw, ui.px(36)}, "Leave without", Look::plain, true, "What is named here is lost")) ui.intents.add([](app::Session& session) { session.leave_without_saving(); });
  }
  if (ui.button("leaving.stay", {b.x + pad + 2 * (bw + gap), by, bw, ui.px(36)}, "Stay", Look::plain, true, "The window stays open; saving goes on", "Escape")) ui.intents.add([](app::Session& session) { session.stay(); });
  ui.end_over();
}

}  // namespace uroko::gui
