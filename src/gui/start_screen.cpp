// No photo on the desk: the first screen says the next step.
#include <opencv2/imgproc.hpp>

#include "gui/panels.h"
#include "uroko/report/card_print.h"

namespace uroko::gui {

namespace {

void scale_pattern(Ui& ui, const Box& b) {
  // Overlapping arcs, faint: a fish's scales.
  const float r = ui.px(28);
  ui.draw->PushClipRect(b.low(), b.high(), true);
  bool odd = false;
  each_step(b.y, b.bottom() + r, r / 2, [&](float y) {
    each_step(b.x + (odd ? r : 0), b.right() + r, 2 * r, [&](float x) {
      ui.draw->PathArcTo({x, y}, r, 3.14159f, 6.28318f, 24);
      ui.draw->PathStroke(with_alpha(ui.c().hairline, 110), 0, 1);
    });
    odd = !odd;
  });
  ui.draw->PopClipRect();
}

}  // namespace

void draw_start(Ui& ui, const Box& box) {
  ui.fill(box, ui.c().ground);
  const auto& s = ui.session;
  if (s.opening && !s.has_book()) {
    ui.text(box.middle().x, box.middle().y - ui.px(30), "Opening " + s.opening->stem().string() + " \u2026", ui.style.fonts.title, ui.c().ink, Align::middle);
    ui.text(box.middle().x, box.middle().y, ui.fitted(s.opening->parent_path().string(), box.w - ui.px(64), ui.style.fonts.small), ui.style.fonts.small, ui.c().muted, Align::middle);
    return;
  }
  ui.begin_scroll("start", box);
  const float scrolled = ImGui::GetScrollY();
  const float w = std::min(ui.px(760), box.w - ui.px(64)), x = box.x + (box.w - w) / 2;
  const float drop_h = box.h < ui.px(520) ? ui.px(180) : ui.px(220), total = drop_h + ui.px(24) + ui.px(176) + ui.px(60);
  float y = box.y - scrolled + std::max(ui.px(32), (box.h - total) / 2);
  const Box drop{x, y, w, drop_h};
  const auto hit = ui.hit("start.drop", drop);
  if (hit.clicked) ui.intents.run("file.photos");
  ui.fill(drop, hit.hovered ? ui.c().act_soft : ui.c().sunk, ui.px(10));
  scale_pattern(ui, drop.inset(ui.px(2)));
  ui.dashed({drop.low(), {drop.right(), drop.y}, drop.high(), {drop.x, drop.bottom()}}, hit.hovered ? ui.c().act : ui.c().muted, 1.2f * ui.style.scale, 6 * ui.style.scale, true);
  const bool book = s.has_book();
  const std::string title = book ? "Drop the next photos here" : "Drop photos here";
  ui.text(drop.middle().x, drop.y + drop_h / 2 - ui.px(38), title, ui.style.fonts.title, ui.c().ink, Align::middle);
  ui.text(drop.middle().x, drop.y + drop_h / 2 - ui.px(6), "or click to choose them. JPEG, HEIC, PNG, TIFF or WebP, with the card in the frame.", ui.style.fonts.body, ui.c().muted, Align::middle);
  ui.text(drop.middle().x, drop.y + drop_h / 2 + ui.px(24), "Fish, wound and date are asked next; the scale is found by itself; one loop gives the area.", ui.style.fonts.small, ui.c().muted, Align::middle);
  y += drop_h + ui.px(24);

  const float gap = ui.px(24), third = (w - gap) / 2;
  const Box left{x, y, third, ui.px(176)}, right{x + third + gap, y, third, ui.px(176)};
  ui.heading(left.x, left.y, "Case books");
  float ly = left.y + ui.px(26);
  const auto row = [&](const std::string& name, const std::string& title_text, const std::string& below, const app::Intents::Intent& then) {
    const Box b{left.x - ui.px(8), ly, left.w + ui.px(16), ui.px(42)};
    const auto h = ui.hit(name, b);
    if (h.hovered) ui.fill(b, ui.c().sunk, ui.px(4));
    ui.text(b.x + ui.px(8), b.y + ui.px(4), ui.fitted(title_text, b.w - ui.px(16), ui.style.fonts.body), ui.style.fonts.body, ui.c().act);
    ui.text(b.x + ui.px(8), b.y + ui.px(23), ui.fitted(below, b.w - ui.px(16), ui.style.fonts.small), ui.style.fonts.small, ui.c().muted);
    if (h.clicked) ui.intents.add(then);
    ly += ui.px(44);
  };
  int shown = 0;
  for (const auto& recent : s.settings.recent_books) {
    if (++shown > 2) break;
    row("start.recent." + std::to_string(shown - 1), recent.stem().string(), recent.parent_path().string(), [recent](app::Session& session) { session.open_book(recent); });
  }
  if (shown < 3 && !s.places.sample.empty())
    row("start.sample", "The sample case", "One koi of our own making, one ulcer, eight visits", [](app::Session& session) { session.open_sample(); });
  row("start.open", "Open a case book \u2026", "A folder ending in .uroko", [](app::Session& session) { session.run("file.open"); });

  ui.heading(right.x, right.y, "The card");
  const auto& layout = scale::card_layout();
  const float card_w = right.w, card_h = layout.width_mm > 0 ? card_w * static_cast<float>(layout.height_mm / layout.width_mm) : ui.px(60);
  const Box card{right.x, right.y + ui.px(26), card_w, std::min(card_h, ui.px(96))};
  const int shown_w = static_cast<int>(card.h * card_w / card_h), shown_h = static_cast<int>(card.h);
  const auto texture = ui.textures.get("start.card." + std::to_string(shown_w), [=] {
    cv::Mat small, rgba;
    cv::resize(report::card_picture(12), small, {shown_w, shown_h}, 0, 0, cv::INTER_AREA);
    cv::cvtColor(small, rgba, cv::COLOR_BGR2RGBA);
    return rgba;
  }, true);
  if (texture) ui.draw->AddImage(texture, card.low(), {card.x + card.h * card_w / card_h, card.bottom()});
  ui.frame({card.x, card.y, card.h * card_w / card_h, card.h}, ui.c().hairline);
  float ry = card.bottom() + ui.px(10);
  ry += ui.wrapped(right.x, ry, right.w, "Print it at 100 %, glue it on a stiff board, lay it flat beside the wound.", ui.style.fonts.small, ui.c().muted);
  ui.command_button("file.card", {right.x, ry + ui.px(6), ui.px(140), ui.px(32)}, "Print the card", Look::plain);
  ui.end_scroll(std::max(ly, ry + ui.px(38)) + ui.px(24));
}

}  // namespace uroko::gui
