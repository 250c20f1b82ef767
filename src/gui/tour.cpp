// The tour's present stop: a frame round what it speaks of, and its words beside that.
#include "gui/panels.h"
#include "uroko/app/tour.h"

namespace uroko::gui {

namespace {

/// Beside the target where it hides none of it: left, right, above or below; else over its middle.
Box placed(const Box& target, float w, float h, const Box& all, float gap) {
  const float x = std::clamp(target.middle().x - w / 2, all.x + gap, std::max(all.x + gap, all.right() - w - gap));
  const float y = std::clamp(target.middle().y - h / 2, all.y + gap, std::max(all.y + gap, all.bottom() - h - gap));
  if (target.w < all.w / 2 && target.x - w - gap > all.x + gap) return {target.x - w - gap, y, w, h};
  if (target.w < all.w / 2 && target.right() + w + gap < all.right() - gap) return {target.right() + gap, y, w, h};
  if (target.y - h - gap > all.y + gap) return {x, target.y - h - gap, w, h};
  if (target.bottom() + h + gap < all.bottom() - gap) return {x, target.bottom() + gap, w, h};
  return {x, y, w, h};
}

}  // namespace

void draw_tour(Ui& ui, const Box& all) {
  const auto& s = ui.session;
  if (!s.tour_at || s.palette.open || s.guide.open) return;
  const auto& stops = app::tour_stops();
  const auto& stop = stops[*s.tour_at];
  const auto found = ui.places.find(stop.widget);
  const float w = std::min(ui.px(336), all.w - ui.px(32)), pad = ui.px(16), inner = w - 2 * pad;
  auto *title = ui.style.fonts.bold, *body = ui.style.fonts.body, *small = ui.style.fonts.small;
  const float words_h = ui.wrapped_height(inner, stop.words, body) * 1.38f;
  const float h = pad + ui.px(20) + ui.px(26) + words_h + ui.px(12) + ui.px(32) + pad;
  const Box target = found == ui.places.end() ? Box{all.middle().x, all.middle().y, 0, 0} : found->second;
  const Box b = placed(target, w, h, all, ui.px(12));
  if (target.w > 0) ui.frame(target.inset(-ui.px(2)), ui.c().act, ui.px(6), 2.5f * ui.style.scale);
  ui.begin_over("tour", b, false);
  ui.fill(b, ui.c().ground, ui.px(8));
  ui.frame(b, ui.c().act, ui.px(8), 1.5f * ui.style.scale);
  const float x = b.x + pad;
  float y = b.y + pad;
  ui.text(x, y, std::to_string(*s.tour_at + 1) + " of " + std::to_string(stops.size()), small, ui.c().muted);
  y += ui.px(20);
  ui.text(x, y, ui.fitted(stop.title, inner, title), title, ui.c().ink);
  y += ui.px(26);
  ui.wrapped(x, y, inner, stop.words, body, ui.c().ink);
  const bool last = *s.tour_at + 1 == stops.size();
  const float by = b.bottom() - pad - ui.px(32), bw = ui.px(96);
  if (ui.button("tour.next", {b.right() - pad - bw, by, bw, ui.px(32)}, last ? "Done" : "Next", Look::primary)) ui.intents.add([](app::Session& session) { session.next_tour_stop(); });
  if (!last && ui.button("tour.end", {x, by, bw, ui.px(32)}, "Skip", Look::plain, true, "It can be had again by Ctrl+K", "Escape")) ui.intents.add([](app::Session& session) { session.end_tour(); });
  ui.end_over();
}

}  // namespace uroko::gui
