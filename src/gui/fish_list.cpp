// What is due, and the fish with their wounds: a line each, with the course so far.
#include <algorithm>
#include <cmath>

#include "gui/panels.h"

namespace uroko::gui {

namespace {

std::string when(int days, int overdue) {
  if (overdue == 1) return "since yesterday";
  if (overdue > 1) return std::to_string(overdue) + " days over";
  if (days <= 0) return "today";
  if (days == 1) return "tomorrow";
  return "in " + std::to_string(days) + " days";
}

void sparkline(Ui& ui, const Box& b, const app::WoundEntry& wound) {
  std::vector<std::pair<double, double>> points;
  for (const auto& look : wound.series.looks) points.emplace_back(look.date.days(), look.area_mm2);
  if (points.size() < 2) return;
  std::sort(points.begin(), points.end());
  double top = 0;
  for (const auto& [d, a] : points) top = std::max(top, a);
  const double d0 = points.front().first, span = std::max(1e-6, points.back().first - d0);
  if (top <= 0) return;
  std::vector<ImVec2> line;
  line.reserve(points.size());
  for (const auto& [d, a] : points) line.push_back({b.x + static_cast<float>((d - d0) / span) * b.w, b.bottom() - static_cast<float>(a / top) * b.h});
  ui.draw->AddPolyline(line.data(), static_cast<int>(line.size()), ui.c().act, 0, 1.4f * ui.style.scale);
  ui.draw->AddCircleFilled(line.back(), 2.2f * ui.style.scale, ui.c().act, 10);
}

}  // namespace

void draw_fish_list(Ui& ui, const Box& box) {
  ui.hairline(box.right() - 1, box.y, box.right() - 1, box.bottom());
  const auto& s = ui.session;
  const float foot = ui.px(56);
  ui.begin_scroll("list", {box.x, box.y, box.w - 1, box.h - foot});
  const float top = ImGui::GetWindowPos().y - ImGui::GetScrollY(), x = box.x + ui.px(16), w = box.w - ui.px(32);
  float y = top + ui.px(20);
  // A thousand fish are a thousand lines, of which a screen shows thirty.
  const auto in_sight = [&](float height) { return y + height >= box.y && y <= box.bottom() - foot; };
  if (!s.book.due.empty()) {
    ui.heading(x, y, "Due");
    y += ui.px(22);
    for (std::size_t i = 0; i < s.book.due.size(); ++i) {
      const auto& due = s.book.due[i];
      if (!in_sight(ui.px(44))) {
        y += ui.px(44) + ui.px(6);
        continue;
      }
      const Box b{x - ui.px(4), y, w + ui.px(8), ui.px(44)};
      const auto hit = ui.hit("due." + std::to_string(i), b);
      if (hit.clicked) ui.intents.add([due](app::Session& session) { due.wound ? session.select_wound(due.wound) : session.select_fish(due.fish); });
      if (hit.hovered) ui.tip(due.why);
      ui.fill(b, hit.hovered ? ui.c().act_soft : ui.c().sunk, ui.px(4));
      ui.fill({b.x, b.y, ui.px(3), b.h}, due.days <= 0 ? ui.c().due : ui.c().muted, ui.px(1));
      ui.text(b.x + ui.px(12), b.y + ui.px(5), ui.fitted(due.name, b.w - ui.px(20), ui.style.fonts.body), ui.style.fonts.body, ui.c().ink);
      ui.text(b.x + ui.px(12), b.y + ui.px(24), ui.fitted(due.what + ", " + when(due.days, due.overdue), b.w - ui.px(20), ui.style.fonts.small), ui.style.fonts.small, due.days <= 0 ? ui.c().due : ui.c().muted);
      y += b.h + ui.px(6);
    }
    y += ui.px(14);
  }
  ui.heading(x, y, "Fish");
  y += ui.px(22);
  if (s.book.fish.empty()) y += ui.wrapped(x, y, w, "No fish yet. Drop photos on the window, or add a fish by hand.", ui.style.fonts.small, ui.c().muted);
  for (const auto& fish : s.book.fish) {
    const bool one = fish.wounds.size() <= 1;
    const bool chosen_fish = fish.fish.id == s.fish;
    const Box head{box.x, y, box.w - 1, one ? ui.px(46) : ui.px(28)};
    const float whole = one ? head.h : head.h + ui.px(30) * static_cast<float>(fish.wounds.size()) + ui.px(6);
    if (!in_sight(whole)) {
      y += whole;
      continue;
    }
    const auto hit = ui.hit("fish." + fish.fish.name, head);
    if (hit.clicked) ui.intents.add([id = fish.fish.id](app::Session& session) { session.select_fish(id); });
    if (one && chosen_fish) {
      ui.fill(head, ui.c().act_soft);
      ui.fill({head.x, head.y, ui.px(3), head.h}, ui.c().act);
    } else if (hit.hovered) {
      ui.fill(head, ui.c().sunk);
    }
    ui.text(x, y + ui.px(6), ui.fitted(fish.fish.name, w - ui.px(70), ui.style.fonts.bold), chosen_fish ? ui.style.fonts.bold : ui.style.fonts.body, ui.c().ink);
    if (one) {
      const std::string below = fish.wounds.empty() ? "no wound" : fish.wounds[0].wound.name;
      ui.text(x, y + ui.px(25), ui.fitted(below, w - ui.px(70), ui.style.fonts.small), ui.style.fonts.small, ui.c().muted);
      if (!fish.wounds.empty()) sparkline(ui, {box.right() - ui.px(74), y + ui.px(12), ui.px(54), ui.px(22)}, fish.wounds[0]);
      y += head.h;
      continue;
    }
    y += head.h;
    for (const auto& wound : fish.wounds) {
      const bool chosen = wound.wound.id == s.wound;
      const Box row{box.x, y, box.w - 1, ui.px(30)};
      const auto hit_row = ui.hit("wound." + fish.fish.name + "." + wound.wound.name, row);
      if (hit_row.clicked) ui.intents.add([id = wound.wound.id](app::Session& session) { session.select_wound(id); });
      if (chosen) {
        ui.fill(row, ui.c().act_soft);
        ui.fill({row.x, row.y, ui.px(3), row.h}, ui.c().act);
      } else if (hit_row.hovered) {
        ui.fill(row, ui.c().sunk);
      }
      ui.text(x + ui.px(12), y + ui.px(8), ui.fitted(wound.wound.name, w - ui.px(82), ui.style.fonts.small), ui.style.fonts.small, chosen ? ui.c().ink : ui.c().muted);
      sparkline(ui, {box.right() - ui.px(74), y + ui.px(6), ui.px(54), ui.px(18)}, wound);
      y += row.h;
    }
    y += ui.px(6);
  }
  ui.end_scroll(y + ui.px(12));

  ui.hairline(box.x, box.bottom() - foot, box.right() - 1, box.bottom() - foot);
  ui.command_button("file.photos", {x, box.bottom() - foot + ui.px(12), w, ui.px(32)}, "Add photos", Look::plain);
}

}  // namespace uroko::gui
