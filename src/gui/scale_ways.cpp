// With no card in the photo: five other ways to give millimetres, each with a small picture.
#include <algorithm>
#include <cmath>
#include <iterator>
#include <numbers>

#include "gui/panels.h"
#include "uroko/base/text.h"

namespace uroko::gui {

namespace {

void picture_ground(Ui& ui, const Box& b) {
  ui.fill(b, ui.c().sunk, ui.px(4));
  // A wound, so that it is seen that the reference lies beside it.
  const ImVec2 m{b.x + b.w * 0.72f, b.y + b.h * 0.56f};
  std::vector<ImVec2> blob;
  for (int i = 0; i < 24; ++i) {
    const float a = static_cast<float>(i) / 24 * 2 * std::numbers::pi_v<float>, r = b.h * (0.2f + 0.03f * std::sin(3 * a + 1));
    blob.push_back({m.x + 1.25f * r * std::cos(a), m.y + r * std::sin(a)});
  }
  ui.draw->AddConvexPolyFilled(blob.data(), 24, IM_COL32(176, 78, 72, 255));
  ui.draw->AddPolyline(blob.data(), 24, ui.c().ground, ImDrawFlags_Closed, 1.5f * ui.style.scale);
}

void dot(Ui& ui, ImVec2 p) {
  ui.draw->AddCircleFilled(p, 3.2f * ui.style.scale, ui.c().ground, 12);
  ui.draw->AddCircle(p, 3.2f * ui.style.scale, ui.c().act, 12, 1.8f * ui.style.scale);
}

void picture_ruler(Ui& ui, const Box& b) {
  const Box r{b.x + b.w * 0.08f, b.y + b.h * 0.14f, b.w * 0.84f, b.h * 0.2f};
  ui.fill(r, ui.c().ground, 1);
  ui.frame(r, ui.c().muted, 1);
  for (int i = 1; i < 20; ++i) ui.draw->AddLine({r.x + r.w * i / 20, r.bottom()}, {r.x + r.w * i / 20, r.bottom() - r.h * (i % 5 == 0 ? 0.7f : 0.4f)}, ui.c().ink);
  dot(ui, {r.x + r.w * 0.25f, r.bottom()});
  dot(ui, {r.x + r.w * 0.75f, r.bottom()});
}
void picture_disc(Ui& ui, const Box& b) {
  const ImVec2 m{b.x + b.w * 0.27f, b.y + b.h * 0.5f};
  const float r = b.h * 0.27f;
  ui.draw->AddCircleFilled(m, r, ui.c().ground, 40);
  ui.draw->AddCircle(m, r, ui.c().muted, 40, 1.5f * ui.style.scale);
  ui.draw->AddCircle(m, r * 0.8f, ui.c().hairline, 40, 1);
  ui.draw->AddLine({m.x - r, m.y}, {m.x + r, m.y}, ui.c().act, 1.4f * ui.style.scale);
  dot(ui, m);
}
void picture_rectangle(Ui& ui, const Box& b) {
  const ImVec2 q[4] = {{b.x + b.w * 0.08f, b.y + b.h * 0.22f}, {b.x + b.w * 0.48f, b.y + b.h * 0.16f}, {b.x + b.w * 0.5f, b.y + b.h * 0.72f}, {b.x + b.w * 0.1f, b.y + b.h * 0.8f}};
  ui.draw->AddQuadFilled(q[0], q[1], q[2], q[3], ui.c().ground);
  ui.draw->AddPolyline(q, 4, ui.c().muted, ImDrawFlags_Closed, 1.3f * ui.style.scale);
  for (const auto& p : q) dot(ui, p);
}
void picture_board(Ui& ui, const Box& b) {
  const float c = b.h * 0.16f;
  const Box r{b.x + b.w * 0.06f, b.y + b.h * 0.1f, 5 * c, 5 * c};
  ui.fill(r, IM_COL32(250, 250, 248, 255), 1);
  for (int i = 0; i < 5; ++i)
    for (int j = 0; j < 5; ++j)
      if ((i + j) % 2 == 0) ui.fill({r.x + static_cast<float>(i) * c, r.y + static_cast<float>(j) * c, c, c}, IM_COL32(30, 30, 30, 255));
  ui.frame(r, ui.c().muted, 1);
}
void picture_card(Ui& ui, const Box& b) {
  const Box r{b.x + b.w * 0.08f, b.y + b.h * 0.16f, b.w * 0.84f, b.h * 0.26f};
  ui.fill(r, IM_COL32(250, 250, 248, 255), 1);
  ui.frame(r, ui.c().muted, 1);
  const float c = r.h / 3;
  for (int i = 0; i < 12; ++i)
    for (int j = 0; j < 2; ++j)
      if ((i + j) % 2 == 0) ui.fill({r.x + c * 0.5f + static_cast<float>(i) * c, r.y + c * 0.5f + static_cast<float>(j) * c, c, c}, IM_COL32(30, 30, 30, 255));
}

void picture_midline(Ui& ui, const Box& b) {
  // A body from the side, its lateral midline with the two picks.
  const ImVec2 m{b.x + b.w * 0.42f, b.y + b.h * 0.5f};
  std::vector<ImVec2> body;
  for (int i = 0; i < 32; ++i) {
    const float a = static_cast<float>(i) / 32 * 2 * std::numbers::pi_v<float>;
    body.push_back({m.x + b.w * 0.36f * std::cos(a), m.y + b.h * 0.32f * std::sin(a)});
  }
  ui.draw->AddConvexPolyFilled(body.data(), 32, ui.c().ground);
  ui.draw->AddPolyline(body.data(), 32, ui.c().muted, ImDrawFlags_Closed, 1.3f * ui.style.scale);
  ui.draw->AddLine({m.x - b.w * 0.3f, m.y}, {m.x + b.w * 0.3f, m.y}, ui.c().act, 1.4f * ui.style.scale);
  dot(ui, {m.x - b.w * 0.24f, m.y});
  dot(ui, {m.x + b.w * 0.24f, m.y});
}

}  // namespace

float draw_scale_ways(Ui& ui, float x, float y, float w) {
  const auto& s = ui.session;
  const float start = y;
  struct Way {
    const char* id;
    const char* title;
    const char* words;
    app::ToolId tool;
    void (*picture)(Ui&, const Box&);
  };
  static constexpr Way kWays[] = {{"scale.card", "Look again for the card", "All of it in the photo, flat and sharp", app::ToolId::grey, picture_card},
                                  {"tool.ruler", "A ruler", "Two graduations and the length between", app::ToolId::ruler, picture_ruler},
                                  {"tool.disc", "A coin or disc", "Beside the wound, of known diameter", app::ToolId::disc, picture_disc},
                                  {"tool.rectangle", "A rectangle", "Four corners, width and height", app::ToolId::rectangle, picture_rectangle},
                                  {"tool.board", "A checkerboard mat", "Whole in the photo; corners and squares", app::ToolId::board, picture_board},
                                  {"tool.midline", "Curve of the flank", "Two points on the midline, and the body's size", app::ToolId::midline, picture_midline}};
  // The one in hand stands first, with its fields in sight.
  std::vector<Way> ways(std::begin(kWays), std::end(kWays));
  if (s.scale_form) std::stable_partition(ways.begin(), ways.end(), [&](const Way& way) { return way.tool == s.scale_form->kind; });
  for (const auto& way : ways) {
    if (way.tool == app::ToolId::midline && !s.desk->history.now().map) continue;  // it corrects a scale, it gives none
    const bool chosen = s.scale_form && s.scale_form->kind == way.tool && way.tool != app::ToolId::grey;
    const Box b{x, y, w, ui.px(64)};
    const auto hit = ui.hit(std::string("way.") + way.id, b);
    if (hit.clicked) ui.intents.run(way.id);
    if (chosen || hit.hovered) ui.fill(b, chosen ? ui.c().act_soft : ui.c().sunk, ui.px(6));
    if (chosen) ui.frame(b, ui.c().act, ui.px(6));
    const Box p{b.x + ui.px(6), b.y + ui.px(6), ui.px(84), ui.px(52)};
    picture_ground(ui, p);
    way.picture(ui, p);
    ui.text(p.right() + ui.px(12), b.y + ui.px(9), way.title, ui.style.fonts.body, ui.c().ink);
    ui.wrapped(p.right() + ui.px(12), b.y + ui.px(28), w - p.w - ui.px(30), way.words, ui.style.fonts.small, ui.c().muted);
    y += b.h + ui.px(6);
    if (!chosen) continue;
    const auto& f = *s.scale_form;
    y += ui.px(4);
    const std::size_t wanted = app::picks_of(way.tool);
    const std::size_t have = f.picks.size();
    const float half = (w - ui.px(12)) / 2;
    const auto set_first = [](app::Session& session, std::string t) { if (session.scale_form) session.scale_form->first = std::move(t), session.scale_form->typed = true; };
    const auto set_second = [](app::Session& session, std::string t) { if (session.scale_form) session.scale_form->second = std::move(t), session.scale_form->typed = true; };
    if (way.tool == app::ToolId::rectangle) {
      ui.labelled_field("scale.first", x, y, half, "Width, mm (1 to 2)", f.first, "", set_first);
      y += ui.labelled_field("scale.second", x + half + ui.px(12), y, half, "Height, mm", f.second, "", set_second);
      y += ui.wrapped(x, y, w, "85.60 \u00d7 53.98 mm is a bank card's size (ISO/IEC 7810 ID-1).", ui.style.fonts.small, ui.c().muted) + ui.px(8);
    } else if (way.tool == app::ToolId::board) {
      ui.labelled_field("scale.first", x, y, half, "Inner corners across", f.first, "9", set_first);
      y += ui.labelled_field("scale.second", x + half + ui.px(12), y, half, "and down", f.second, "6", set_second);
      y += ui.labelled_field("scale.square", x, y, half, "Side of a square, mm", f.square, "25", [](app::Session& session, std::string t) { if (session.scale_form) session.scale_form->square = std::move(t); });
      y += ui.wrapped(x, y, w, "Inner corners are where four squares meet: one fewer each way than squares.", ui.style.fonts.small, ui.c().muted) + ui.px(8);
    } else if (way.tool == app::ToolId::midline) {
      ui.labelled_field("scale.first", x, y, half, "Body depth, mm", f.first, "back to belly", set_first);
      y += ui.labelled_field("scale.second", x + half + ui.px(12), y, half, "Body width, mm", f.second, "side to side", set_second);
      if (s.desk->history.now().body) {
        ui.command_button("scale.flat", {x, y, w, ui.px(32)}, "Read flat again", Look::quiet);
        y += ui.px(38);
      }
    } else {
      y += ui.labelled_field("scale.first", x, y, half, way.tool == app::ToolId::disc ? "Diameter, mm" : "Length between, mm", f.first, "", set_first);
    }
    if (!f.fault.empty()) y += ui.wrapped(x, y, w, f.fault.text, ui.style.fonts.small, ui.c().due) + ui.px(6);
    const bool ready = have >= wanted;
    if (ui.button("scale.give", {x, y, w, ui.px(34)}, ready ? (way.tool == app::ToolId::midline ? "Use this curve" : "Use this scale") : have == 0 ? "Click in the photo" : std::to_string(wanted - have) + " more to click", Look::primary, ready)) ui.intents.add([](app::Session& session) { session.give_scale(); });
    y += ui.px(46);
    if (!ready || !s.can_compare_scale()) continue;
    const std::string in_use = scale::name(s.desk->history.now().map->kind);
    const bool answered = s.desk->second && s.desk->second->generation == s.desk->generation;  // the answer stands where the tip would
    if (ui.button("scale.compare", {x, y, w, ui.px(32)}, "Compare with the " + in_use, Look::quiet, true, answered ? "" : "What both give for this margin; the " + in_use + " stays in use")) ui.intents.add([](app::Session& session) { session.compare_scale(); });
    y += ui.px(40);
    if (answered) {
      const auto& second = s.desk->second;
      const auto words = std::string("The ") + scale::name(second->kind) + " gives " + fixed_text(second->area_mm2, 1) + " mm\u00b2 for this margin, the " + scale::name(second->of) + " " +
                         fixed_text(second->area_in_use_mm2, 1) + ". " + (second->differs ? "That is more than both can be wrong by: check the typed sizes, and that both lie level with the wound." : "They agree within what each can be wrong by.");
      y += ui.wrapped(x, y, w, words, ui.style.fonts.small, second->differs ? ui.c().due : ui.c().ink) + ui.px(12);
    }
  }
  return y - start;
}

}  // namespace uroko::gui
