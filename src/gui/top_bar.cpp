// Where we are (fish, wound, visit), the steps with the one that needs a person lit, and the way to every command.
#include "gui/panels.h"

namespace uroko::gui {

namespace {

void draw_mark(Ui& ui, float x, float y, float side) {
  // Three scales of a triangle pattern: the program's mark.
  const float h = side / 2;
  const auto tri = [&](float px, float py) { ui.draw->AddTriangleFilled({px, py + h}, {px + h / 2, py}, {px + h, py + h}, ui.c().act); };
  tri(x + h / 2, y);
  tri(x, y + h);
  tri(x + h, y + h);
}

float crumb(Ui& ui, float x, const Box& bar, const std::string& s, ImFont* font, ImU32 colour, float most) {
  const auto shown = ui.fitted(s, most, font);
  return ui.text(x, bar.y + (bar.h - font->FontSize) / 2, shown, font, colour);
}

void draw_crumbs(Ui& ui, const Box& bar, float right) {
  const auto& s = ui.session;
  float x = bar.x + ui.px(16);
  draw_mark(ui, x, bar.y + bar.h / 2 - ui.px(9), ui.px(18));
  x += ui.px(30);
  auto* font = ui.style.fonts.body;
  const auto then = [&](const std::string& text, ImFont* f, ImU32 colour) {
    const float room = right - x - ui.px(24);
    if (room < ui.px(24) || (room < ui.px(60) && ui.text_width(text, f) > room)) return;
    x += crumb(ui, x, bar, text, f, colour, room);
  };
  // With its sign before it, or neither.
  const auto below = [&](const std::string& text, ImU32 colour) {
    const std::string sign = "  \u203a  ";
    const float room = right - x - ui.px(24) - ui.text_width(sign, font);
    if (room < ui.px(24) || (room < ui.px(60) && ui.text_width(text, font) > room)) return;
    x += crumb(ui, x, bar, sign, font, ui.c().muted, right - x);
    then(text, font, colour);
  };
  // Each opens what can be said of it anew.
  const auto opens = [&](float start, const char* name, const char* command_id) {
    const Box b{start, bar.y + ui.px(8), x - start, bar.h - ui.px(16)};
    const auto* command = app::command(command_id);
    if (b.w <= 0 || (command->enabled && !command->enabled(s))) return;
    const auto hit = ui.hit(name, b);
    if (hit.clicked) ui.intents.run(command_id);
    if (!hit.hovered) return;
    ui.draw->AddLine({start, b.bottom() - ui.px(5)}, {x, b.bottom() - ui.px(5)}, ui.c().act, std::max(1.f, ui.style.scale));
    ui.tip(command->label + ": " + command->tip, command->keys.front());
  };
  // A photo that is not in the book yet stands by itself: the fish and visit chosen in the book are not its own.
  const bool outside = s.desk && !s.desk->place.photo;
  if (const auto* fish = s.current_fish(); fish && !outside) {
    const float start = x;
    then(fish->fish.name, ui.style.fonts.bold, ui.c().ink);
    opens(start, "crumb.fish", "fish.edit");
    if (const auto* wound = s.current_wound()) {
      const float sign = ui.text_width("  \u203a  ", font), at_wound = x + sign;
      below(wound->wound.name, ui.c().ink);
      opens(at_wound, "crumb.wound", "wound.edit");
      const float at_visit = x + sign;
      for (std::size_t i = 0; i < wound->visits.size(); ++i)
        if (wound->visits[i].visit.id == s.visit) below(wound->visits[i].visit.date.iso_date() + ", visit " + std::to_string(i + 1), ui.c().muted);
      opens(at_visit, "crumb.visit", "visit.correct");
    }
  } else if (s.desk) {
    then(s.desk->file.filename().string(), ui.style.fonts.bold, ui.c().ink);
  } else if (s.has_book()) {
    then(s.book.path.stem().string(), ui.style.fonts.bold, ui.c().ink);
  } else {
    then("uroko", ui.style.fonts.bold, ui.c().ink);
  }
}

void draw_step(Ui& ui, const Box& b, const char* id, const char* label, bool lit, bool done, bool enabled) {
  const auto hit = ui.hit(id, b);
  if (hit.clicked && enabled) ui.intents.run(id);
  if (lit) {
    ui.fill(b, ui.c().act_soft, b.h / 2);
    ui.frame(b, ui.c().act, b.h / 2);
  } else if (hit.hovered && enabled) {
    ui.fill(b, ui.c().sunk, b.h / 2);
  }
  const ImVec2 dot{b.x + ui.px(18), b.y + b.h / 2};
  const float r = 4.5f * ui.style.scale;
  if (done) {
    ui.draw->AddCircleFilled(dot, r, ui.c().good, 20);
    const ImVec2 tick[3] = {{dot.x - r * 0.5f, dot.y}, {dot.x - r * 0.1f, dot.y + r * 0.42f}, {dot.x + r * 0.52f, dot.y - r * 0.4f}};
    ui.draw->AddPolyline(tick, 3, ui.c().ground, 0, 1.4f * ui.style.scale);
  } else if (lit) {
    ui.draw->AddCircleFilled(dot, r, ui.c().act, 20);
  } else {
    ui.draw->AddCircle(dot, r, ui.c().muted, 20, 1.3f * ui.style.scale);
  }
  ui.text(b.x + ui.px(32), b.y + (b.h - ui.style.fonts.body->FontSize) / 2, label, ui.style.fonts.body, lit ? ui.c().act : enabled ? ui.c().ink : ui.c().muted);
  if (const auto* c = app::command(id); hit.hovered && c) ui.tip(c->tip, c->keys.front());
}

}  // namespace

void draw_top_bar(Ui& ui, const Box& box) {
  const auto& s = ui.session;
  ui.hairline(box.x, box.bottom() - 1, box.right(), box.bottom() - 1);
  const float h = ui.px(32), y = box.y + (box.h - h) / 2;
  const bool photo = s.desk != nullptr;
  // From the right: settings, the list of commands (its key alone where there is little room), the steps; what is left is for where we are.
  const Box gear{box.right() - ui.px(48), y, ui.px(32), h};
  const float least = ui.px(74), most = ui.px(250);
  const float step_w = ui.px(32 + 16) + ui.text_width("Compare", ui.style.fonts.body), steps_w = photo ? 3 * step_w + 2 * ui.px(8) : 0;
  const float search_w = box.w - steps_w < ui.px(640) ? least : std::min(most, box.w * 0.2f);
  const Box find{gear.x - search_w - ui.px(8), y, search_w, h};
  const float steps_x = std::min(std::max(box.x + (box.w - steps_w) / 2, box.x + ui.px(300)), find.x - ui.px(16) - steps_w);
  draw_crumbs(ui, box, photo ? steps_x : find.x);
  if (photo) {
    const auto& now = s.desk->history.now();
    draw_step(ui, {steps_x, y, step_w, h}, "scale.show", "Scale", s.step == app::Step::scale, now.map != nullptr, true);
    draw_step(ui, {steps_x + step_w + ui.px(8), y, step_w, h}, "margin.show", "Margin", s.step == app::Step::margin, now.margin && !s.desk->acceptable(), true);
    draw_step(ui, {steps_x + 2 * (step_w + ui.px(8)), y, step_w, h}, "compare.show", "Compare", s.step == app::Step::compare, false, s.current_wound() != nullptr);
  }
  const auto hit_gear = ui.hit("window.settings", gear);
  if (hit_gear.clicked) ui.intents.run("window.settings");
  if (hit_gear.hovered) {
    ui.fill(gear, ui.c().sunk, ui.px(6));
    ui.tip("Settings", "Ctrl+,");
  }
  for (int i = 0; i < 3; ++i) ui.draw->AddCircleFilled({gear.middle().x + (i - 1) * ui.px(6), gear.middle().y}, 1.8f * ui.style.scale, ui.c().muted, 8);
  const auto hit = ui.hit("window.commands", find);
  if (hit.clicked) ui.intents.run("window.commands");
  if (hit.hovered) ui.tip("Everything the window can do, with its keys", "Ctrl+K");
  ui.fill(find, ui.c().sunk, ui.px(6));
  ui.frame(find, hit.hovered ? ui.c().muted : ui.c().hairline, ui.px(6));
  auto* small = ui.style.fonts.small;
  const float ty = find.y + (find.h - small->FontSize) / 2;
  if (search_w <= least) {
    ui.text(find.middle().x, ty, "Ctrl K", small, ui.c().muted, Align::middle);
    return;
  }
  const float kw = ui.text(find.right() - ui.px(10), ty, "Ctrl K", small, ui.c().muted, Align::right);
  ui.text(find.x + ui.px(12), ty, ui.fitted("Find a command \u2026", find.w - kw - ui.px(30), small), small, ui.c().muted);
}

}  // namespace uroko::gui
