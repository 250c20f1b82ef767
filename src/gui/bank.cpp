// Curve and photo strip on one time axis: each visit's photo hangs at its date under the curve; the empty frame is where the next one is dropped.
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "gui/panels.h"
#include "gui/scene_painter.h"
#include "uroko/base/text.h"
#include "uroko/report/words.h"

namespace uroko::gui {

namespace {

constexpr float kHead = 36, kStrip = 96;

const report::Chart& chart_for(Ui& ui, float width, float height, int selected) {
  const auto& s = ui.session;
  report::ChartOptions options;
  options.width = std::max(160.0, static_cast<double>(width / ui.style.scale));
  options.height = std::max(80.0, static_cast<double>(height / ui.style.scale));
  options.axis = s.bank.axis;
  options.theme = ui.style.theme == app::Theme::dark ? report::Theme::dark : report::Theme::light;
  options.text_size = 11;
  options.selected = selected;
  options.ground = false;
  options.from = s.current_wound()->visits.front().visit.date;
  options.until = s.current_wound()->visits.back().visit.date;
  const auto of = std::to_string(s.course_version()) + "/" + std::to_string(options.width) + "x" + std::to_string(options.height) + "/" + std::to_string(static_cast<int>(options.axis)) + "/" +
                  std::to_string(static_cast<int>(options.theme)) + "/" + std::to_string(selected) + "/" +
                  options.from->iso() + "/" + options.until->iso();
  if (ui.kept_chart.of != of) ui.kept_chart = {of, report::healing_chart(*s.course(), s.series(), options)};
  return ui.kept_chart.chart;
}

void draw_axis_choice(Ui& ui, const Box& box) {
  static constexpr std::pair<const char*, report::TimeAxis> kAxes[] = {{"days", report::TimeAxis::days}, {"degree-days", report::TimeAxis::degree_days}, {"dates", report::TimeAxis::dates}};
  float x = box.right() - ui.px(20);
  for (int i = 2; i >= 0; --i) {
    const auto& [label, axis] = kAxes[i];
    const bool lit = ui.session.bank.axis == axis;
    auto* font = lit ? ui.style.fonts.small_bold : ui.style.fonts.small;
    const float w = ui.text_width(label, font);
    x -= w;
    if (ui.hit(std::string("bank.axis.") + label, {x - ui.px(6), box.y + ui.px(4), w + ui.px(12), ui.px(26)}).clicked) ui.intents.add([a = axis](app::Session& s) { s.bank.axis = a; });
    ui.text(x, box.y + ui.px(11), label, font, lit ? ui.c().act : ui.c().muted);
    x -= ui.px(18);
  }
}

void picture(Ui& ui, const app::PhotoEntry& photo, const Box& b) {
  if (const auto* small = ui.session.thumbnail(photo)) {
    const auto name = "small:" + photo.row.sha256 + std::to_string(photo.measure ? photo.measure->id : 0);
    const auto texture = ui.textures.get(name, [&] {
      cv::Mat rgba;
      cv::cvtColor(*small, rgba, cv::COLOR_BGR2RGBA);
      return rgba;
    });
    if (texture) {
      ui.draw->AddImageRounded(texture, b.low(), b.high(), {0, 0}, {1, 1}, IM_COL32_WHITE, ui.px(3));
      return;
    }
    ui.again = true;
  } else {
    ui.intents.add([photo](app::Session& s) { s.want_thumbnail(photo); });
  }
  ui.fill(b, ui.c().sunk, ui.px(3));
}

struct Hung {
  const app::VisitEntry* visit;
  float x;
};

void draw_strip(Ui& ui, const Box& box, const std::vector<Hung>& hung, float drop_x) {
  const auto& s = ui.session;
  float gap = 1e9f;
  for (std::size_t i = 1; i < hung.size(); ++i) gap = std::min(gap, hung[i].x - hung[i - 1].x);
  const float side = std::clamp(gap - ui.px(6), ui.px(26), ui.px(60));
  const float y = box.y + ui.px(6);
  float label_end = -1e9f;
  const Hung* shown = nullptr;
  const bool several_years = !hung.empty() && hung.front().visit->visit.date.year != hung.back().visit->visit.date.year;
  int year_said = 0;
  for (const auto& h : hung) {
    const auto& v = h.visit->visit;
    const Box b{std::round(h.x - side / 2), y + (ui.px(60) - side) / 2, side, side};
    const auto hit = ui.hit("visit." + v.date.iso_date(), b);
    if (hit.clicked) ui.intents.add([id = v.id](app::Session& session) { session.select_visit(id); });
    if (!h.visit->photos.empty()) picture(ui, h.visit->measured() ? *h.visit->measured() : h.visit->photos.front(), b);
    const bool chosen = v.id == s.visit, measured = h.visit->measured() != nullptr, proposed = measured && h.visit->measured()->proposed;
    if (chosen)
      ui.frame({b.x - 2, b.y - 2, b.w + 4, b.h + 4}, ui.c().act, ui.px(5), 2.5f * ui.style.scale);
    else
      ui.frame(b, hit.hovered ? ui.c().act : ui.c().hairline, ui.px(3));
    if (!measured || proposed) {  // it waits for a person
      ui.draw->AddCircleFilled({b.right() - ui.px(6), b.y + ui.px(6)}, 4 * ui.style.scale, ui.c().ground, 12);
      ui.draw->AddCircle({b.right() - ui.px(6), b.y + ui.px(6)}, 4 * ui.style.scale, ui.c().due, 12, 1.5f * ui.style.scale);
    }
    if (hit.hovered) {
      shown = &h;
      ui.tip(v.date.iso_date() + (measured ? ", " + fixed_text(h.visit->measured()->measure->area_mm2, 0) + " mm\u00b2" + (proposed ? ", a proposal: not looked at yet" : "") : ", not measured yet") + (v.water_c ? ", water " + fixed_text(*v.water_c, 1) + " \u00b0C" : "") +
             (h.visit->photos.size() > 1 ? ", " + std::to_string(h.visit->photos.size()) + " photos" : ""));
    }
    // The year is said at the first of each, where there are several.
    const auto label = report::short_date(v.date, several_years && v.date.year != year_said);
    auto* font = chosen ? ui.style.fonts.small_bold : ui.style.fonts.small;
    const float w = ui.text_width(label, font);
    if (h.x - w / 2 > label_end + ui.px(6) || chosen) {
      ui.text(h.x, y + ui.px(66), label, font, chosen ? ui.c().ink : ui.c().muted, Align::middle);
      label_end = h.x + w / 2;
      year_said = v.date.year;
    }
  }
  if (drop_x + ui.px(30) < box.right()) {
    const Box b{drop_x - ui.px(30), y, ui.px(60), ui.px(60)};
    const auto hit = ui.hit("bank.drop", b);
    if (hit.clicked) ui.intents.run("file.photos");
    ui.dashed({b.low(), {b.right(), b.y}, b.high(), {b.x, b.bottom()}}, hit.hovered ? ui.c().act : ui.c().muted, std::max(1.f, ui.style.scale), 4 * ui.style.scale, true);
    ui.text(b.middle().x, b.middle().y - ui.style.fonts.small->FontSize / 2, "drop", ui.style.fonts.small, hit.hovered ? ui.c().act : ui.c().muted, Align::middle);
    ui.text(b.middle().x, y + ui.px(66), "next", ui.style.fonts.small, ui.c().muted, Align::middle);
  }
  const auto hovered = shown ? shown->visit->visit.id : 0;
  if (hovered != s.bank.hovered) ui.intents.add([hovered](app::Session& session) { session.bank.hovered = hovered; });
}

void draw_other_wounds(Ui& ui, const report::Chart& chart, float x, float y) {
  // Okabe-Ito colours with a line style each, so that nothing rests on colour alone.
  static constexpr ImU32 kLines[] = {IM_COL32(213, 94, 0, 255), IM_COL32(204, 121, 167, 255), IM_COL32(0, 158, 115, 255), IM_COL32(230, 159, 0, 255)};
  const auto* fish = ui.session.current_fish();
  if (!fish || !ui.session.bank.others || ui.session.bank.axis == report::TimeAxis::degree_days) return;
  const double first = ui.session.course()->looks.front().date.days();
  int k = 0;
  for (const auto& wound : fish->wounds) {
    if (wound.wound.id == ui.session.wound) continue;
    std::vector<ImVec2> line;
    for (const auto& look : wound.series.looks)
      line.push_back({x + static_cast<float>(chart.x_of_day(look.date.days() - first)) * ui.style.scale, y + static_cast<float>(chart.y_of_area(std::min(look.area_mm2, chart.area_top_mm2))) * ui.style.scale});
    if (line.empty()) continue;
    const ImU32 colour = kLines[k % 4];
    ui.dashed(line, colour, 1.6f * ui.style.scale, (3 + 2 * static_cast<float>(k)) * ui.style.scale, false);
    ui.text(line.back().x + ui.px(6), line.back().y - ui.px(8), wound.wound.name, ui.style.fonts.small, colour);
    ++k;
  }
}

}  // namespace

void draw_bank(Ui& ui, const Box& box) {
  ui.hairline(box.x, box.y, box.right(), box.y);
  const auto& s = ui.session;
  const auto* wound = s.current_wound();
  const Box fold{box.x + ui.px(12), box.y + ui.px(6), ui.px(24), ui.px(24)};
  const auto hit_fold = ui.hit("bank.fold", fold);
  if (hit_fold.clicked) ui.intents.run("bank.fold");
  const ImVec2 m = fold.middle();
  const float d = 4 * ui.style.scale, up = s.bank_folded() ? -1.f : 1.f;
  const ImVec2 arrow[3] = {{m.x - d, m.y - up * d / 2}, {m.x, m.y + up * d / 2}, {m.x + d, m.y - up * d / 2}};
  ui.draw->AddPolyline(arrow, 3, hit_fold.hovered ? ui.c().act : ui.c().muted, 0, 1.5f * ui.style.scale);
  if (hit_fold.hovered) ui.tip(s.bank_folded() ? "Unfold the bank" : "Fold the bank away", "Ctrl+B");
  float hx = fold.right() + ui.px(8);
  hx += ui.text(hx, box.y + ui.px(11), "Curve", ui.style.fonts.small_bold, ui.c().ink) + ui.px(14);
  if (wound && !wound->visits.empty()) {
    const std::string line = std::to_string(wound->visits.size()) + (wound->visits.size() == 1 ? " visit" : " visits");
    hx += ui.text(hx, box.y + ui.px(11), line, ui.style.fonts.small, ui.c().muted) + ui.px(20);
  }
  const auto small_action = [&](const char* id, const char* label) {
    const float w = ui.text_width(label, ui.style.fonts.small);
    const auto hit = ui.hit(id, {hx - ui.px(6), box.y + ui.px(4), w + ui.px(12), ui.px(26)});
    if (hit.clicked) ui.intents.run(id);
    ui.text(hx, box.y + ui.px(11), label, ui.style.fonts.small, hit.hovered ? ui.c().ink : ui.c().act);
    if (const auto* c = app::command(id); hit.hovered && c) ui.tip(c->tip, c->keys.front());
    hx += w + ui.px(18);
  };
  if (s.current_fish()) {
    small_action("care.log", "Add to the care log");
    small_action("dose.sheet", "Dose sheet");
    small_action("report.write", "Report");
    if (s.current_fish()->wounds.size() > 1) small_action("bank.others", s.bank.others ? "This wound alone" : "All wounds");
  }
  if (wound) draw_axis_choice(ui, box);
  if (s.bank_folded()) return;

  const float left = box.x + ui.px(12), next_w = ui.px(76), width = box.w - ui.px(24) - next_w;  // the next photo's frame always has its place
  const Box strip{left, box.bottom() - ui.px(kStrip), width + next_w, ui.px(kStrip)};
  const Box plot{left, box.y + ui.px(kHead), width, strip.y - box.y - ui.px(kHead)};
  std::vector<Hung> hung;
  float drop_x = left + ui.px(60);
  if (s.course() && wound && !wound->visits.empty() && plot.h > ui.px(60)) {
    const double zoom = 1 / std::max(0.02, s.bank.to - s.bank.from);
    const float shift = static_cast<float>(-s.bank.from * zoom) * width;
    const auto& chart = chart_for(ui, static_cast<float>(width * zoom), plot.h, s.look_of_visit(s.visit));
    ui.draw->PushClipRect({left, box.y + ui.px(kHead)}, {box.right(), box.bottom()}, true);
    paint_scene(ui, chart.scene, plot.x + shift, plot.y);
    draw_other_wounds(ui, chart, plot.x + shift, plot.y);
    const double first = s.course()->looks.front().date.days();
    const auto x_of = [&](double days) { return plot.x + shift + static_cast<float>(chart.x_of_day(days)) * ui.style.scale; };
    for (const auto& v : wound->visits) {
      const double day = v.visit.date.days() - first;
      const int look = s.look_of_visit(v.visit.id);
      if (look >= 0 && s.bank.axis == report::TimeAxis::degree_days && look < static_cast<int>(chart.looks.size()))
        hung.push_back({&v, plot.x + shift + static_cast<float>(chart.looks[static_cast<std::size_t>(look)].x) * ui.style.scale});
      else
        hung.push_back({&v, x_of(day)});
    }
    drop_x = hung.empty() ? drop_x : hung.back().x + std::max(ui.px(72), hung.size() > 1 ? (hung.back().x - hung.front().x) / static_cast<float>(hung.size() - 1) : 0.f);
    draw_strip(ui, strip, hung, std::min(drop_x, box.right() - ui.px(44)));
    ui.draw->PopClipRect();
    const auto hit = ui.hit("bank.plot", plot);
    ImGui::SetItemAllowOverlap();
    const auto& io = ImGui::GetIO();
    if (hit.hovered && io.MouseWheel != 0) {
      const double at = (io.MousePos.x - left) / width;
      ui.intents.add([at, wheel = io.MouseWheel](app::Session& session) {
        auto& b = session.bank;
        const double span = std::clamp((b.to - b.from) * std::pow(0.85, wheel), 0.05, 1.0), fixed = b.from + at * (b.to - b.from);
        b.from = std::clamp(fixed - at * span, 0.0, 1 - span);
        b.to = b.from + span;
      });
    }
    if (hit.held && io.MouseDelta.x != 0)
      ui.intents.add([dx = io.MouseDelta.x / width](app::Session& session) {
        auto& b = session.bank;
        const double span = b.to - b.from;
        b.from = std::clamp(b.from - dx * span, 0.0, 1 - span);
        b.to = b.from + span;
      });
    if (hit.clicked)
      for (const auto& h : hung)
        if (std::abs(h.x - io.MousePos.x) < ui.px(14)) ui.intents.add([id = h.visit->visit.id](app::Session& session) { session.select_visit(id); });
    return;
  }
  if (wound) {
    float x = left + ui.px(60);
    for (const auto& v : wound->visits) {
      hung.push_back({&v, x});
      x += ui.px(76);
    }
    drop_x = x;
    if (plot.h > ui.px(16)) ui.text(left + ui.px(32), plot.y + std::min(ui.px(12), (plot.h - ui.px(14)) / 2), s.course() ? "The curve needs more height: make the window taller or its letters smaller." : "The curve begins with the first accepted margin.", ui.style.fonts.small, ui.c().muted);
  } else {
    ui.text(left + ui.px(32), plot.y + ui.px(12), s.has_book() ? "Choose a fish, or drop its photos here." : "Drop photos here.", ui.style.fonts.small, ui.c().muted);
  }
  draw_strip(ui, strip, hung, drop_x);
}

}  // namespace uroko::gui
