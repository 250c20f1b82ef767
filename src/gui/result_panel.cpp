// One look answers the recheck's question: the area with its interval, the verdict with its reasons, the bed, and why the interval is as wide as it is.
#include <algorithm>
#include <cmath>
#include <functional>

#include "gui/panels.h"
#include "uroko/base/text.h"

namespace uroko::gui {

namespace {

std::string number(double v) {
  const double a = std::abs(v);
  return fixed_text(v, a >= 100 ? 0 : a >= 10 ? 1 : 2);
}

struct SourceWords {
  const char *source, *words, *explained;
};
const SourceWords& source_words(const std::string& source) {
  static constexpr SourceWords kAll[] = {
      {"margin shift", "where the edge is", "Where a person would draw the edge: it shifts the whole margin in or out."},
      {"margin noise", "edge of the wound", "How sharply the photo shows the edge, place by place. A sharper photo or a corrected margin narrows it."},
      {"repeat traces", "traced again", "How far repeated traces of the same wound lie apart."},
      {"scale", "scale reference", "How well the reference's points were found. A larger reference, flat and sharp, narrows it."},
      {"print", "print of the card", "The card may be printed a little large or small. Measure its 100 mm bar and enter it in the settings."},
      {"plane offset", "card above the skin", "The card may lie some millimetres above or below the wound."},
      {"plane tilt", "card not along the skin", "The card may lean against the wound's own plane."},
      {"curvature", "curve of the flank", "The skin bends away from the card's plane. Lay the card close beside the wound."},
      {"lens", "lens", "The lens bends straight lines. A lens profile removes most of it."},
      {"disagreement", "photos apart", "Several photos of the same look do not agree better than this."}};
  for (const auto& w : kAll)
    if (source == w.source) return w;
  static constexpr SourceWords other{"", "other", "A further part of the uncertainty."};
  return other;
}

void draw_hatch_bar(Ui& ui, const Box& b, const bed::Bed& bed) {
  float x = b.x;
  for (int t = 0; t < bed::kTissues; ++t) {
    const float w = static_cast<float>(bed.tissue[static_cast<std::size_t>(t)].share) * b.w;
    if (w < 0.5f) continue;
    fill_hatched(ui, {x, b.y, w, b.h}, bed_look(t));
    x += w;
    if (x < b.right() - 1) ui.draw->AddRectFilled({x - 0.5f, b.y}, {x + 0.5f, b.bottom()}, ui.c().ground);
  }
}

float draw_area(Ui& ui, float x, float y, float w) {
  const auto& desk = *ui.session.desk;
  const auto& m = *desk.measurement;
  const bool stale = desk.measured != desk.generation;
  const ImU32 ink = stale ? ui.c().muted : ui.c().ink;
  auto* figure = ui.style.fonts.figure;
  const float fw = ui.text(x - ui.px(2), y - ui.px(6), number(m.area_mm2.value), figure, ink);
  const float base = y - ui.px(6) + figure->Ascent;
  ui.text(x + fw + ui.px(6), base - ui.style.fonts.title->Ascent, "mm\u00b2", ui.style.fonts.title, ui.c().muted);
  y += ui.px(50);
  const std::string range = number(m.area_mm2.low95) + " to " + number(m.area_mm2.high95);
  const float rw = ui.text(x, y, range, ui.style.fonts.body, ink);
  ui.text(x + rw + ui.px(8), y + ui.px(2), "mm\u00b2, 95 % interval", ui.style.fonts.small, ui.c().muted);
  y += ui.px(26);
  const std::pair<const char*, double> extents[] = {{"length", m.length_mm.value}, {"width", m.width_mm.value}, {"perimeter", m.perimeter_mm.value}};
  float at = x;
  for (const auto& [label, mm] : extents) {
    ui.text(at, y, label, ui.style.fonts.small, ui.c().muted);
    const float vw = ui.text(at, y + ui.px(16), number(mm), ui.style.fonts.body, ink);
    ui.text(at + vw + ui.px(4), y + ui.px(18), "mm", ui.style.fonts.small, ui.c().muted);
    at += w / 3;
  }
  y += ui.px(42);
  const auto& now = desk.history.now();
  std::string how;
  if (!now.earlier.empty()) how = "Mean of " + std::to_string(now.earlier.size() + 1) + " traces. ";
  if (now.body && std::abs(m.curvature_factor - 1) > 5e-4) how += "Curve of the flank: " + fixed_text(std::abs(100 * (m.curvature_factor - 1)), 1) + (m.curvature_factor > 1 ? " % more" : " % less") + " than read flat.";
  if (!how.empty()) y += ui.wrapped(x, y, w, how, ui.style.fonts.small, ui.c().muted) + ui.px(8);
  return y;
}

ImU32 verdict_colour(const Ui& ui, healing::Verdict v) {
  if (v == healing::Verdict::closing || v == healing::Verdict::closed) return ui.c().good;
  if (v == healing::Verdict::enlarging) return ui.c().due;
  return ui.c().ink;
}

float draw_verdict(Ui& ui, float x, float y, float w) {
  const auto* course = ui.session.course();
  if (!course) return y;
  ui.hairline(x, y, x + w, y);
  y += ui.px(14);
  std::string words = healing::words(course->verdict);
  if (!words.empty()) words[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(words[0])));
  ui.text(x, y, words, ui.style.fonts.title, verdict_colour(ui, course->verdict));
  y += ui.px(28);
  constexpr std::size_t kShown = 2;
  const std::size_t all = course->reasons.size() + course->warnings.size();
  const bool open = ui.session.reasons_open;
  for (std::size_t i = 0; i < course->reasons.size() && (open || i < kShown); ++i) {
    auto reason = course->reasons[i];
    if (!reason.empty()) reason[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(reason[0])));
    y += ui.wrapped(x, y, w, reason + ".", ui.style.fonts.body, ui.c().ink) + ui.px(4);
  }
  if (course->closure) y += ui.wrapped(x, y, w, "If this holds, it closes between " + course->closure->earliest.iso_date() + " and " + course->closure->latest.iso_date() + ".", ui.style.fonts.body, ui.c().ink) + ui.px(3);
  if (open)
    for (const auto& warning : course->warnings) y += ui.wrapped(x, y, w, warning.text, ui.style.fonts.small, ui.c().muted) + ui.px(2);
  if (all > std::min(kShown, course->reasons.size())) {
    const Box fold{x, y, ui.px(72), ui.px(22)};
    const auto hit = ui.hit("result.reasons", fold);
    if (hit.clicked) ui.intents.run("result.reasons");
    if (hit.hovered) ui.tip("Every reason and what the verdict cannot know", "");
    ui.text(x, y + ui.px(2), open ? "less" : std::to_string(all - std::min(kShown, course->reasons.size())) + " more", ui.style.fonts.small, ui.c().act);
    y += ui.px(22);
  }
  return y + ui.px(13);
}

float draw_bed_part(Ui& ui, float x, float y, float w) {
  const auto& desk = *ui.session.desk;
  if (!desk.bed) return y;
  ui.heading(x, y, "Bed");
  const Box toggle{x + w - ui.px(72), y - ui.px(6), ui.px(72), ui.px(24)};
  const auto hit = ui.hit("view.bed", toggle);
  if (hit.clicked) ui.intents.run("view.bed");
  ui.text(toggle.right(), y, ui.session.overlay_shown ? "hide" : "on photo", ui.style.fonts.small, ui.c().act, Align::right);
  if (hit.hovered) ui.tip("The classes over the photo, each with its own hatching", "O");
  y += ui.px(22);
  draw_hatch_bar(ui, {x, y, w, ui.px(20)}, *desk.bed);
  y += ui.px(30);
  for (int t = 0; t < bed::kTissues; ++t) {
    const auto& share = desk.bed->tissue[static_cast<std::size_t>(t)];
    if (share.share < 0.005) continue;
    fill_hatched(ui, {x, y + ui.px(3), ui.px(16), ui.px(11)}, bed_look(t));
    auto* small = ui.style.fonts.small;
    const float words = ui.wrapped(x + ui.px(26), y + ui.px(1), w - ui.px(26) - ui.px(124), bed_look(t).label, small, ui.c().ink);
    const float doubt = ui.text(x + w - ui.px(60), y + ui.px(1), " \u00b1 " + fixed_text(100 * share.share_u, 0) + " %", small, ui.c().muted, Align::right);
    ui.text(x + w - ui.px(60) - doubt, y + ui.px(1), fixed_text(100 * share.share, 0), small, ui.c().ink, Align::right);
    ui.text(x + w, y + ui.px(1), number(share.mm2) + " mm\u00b2", small, ui.c().muted, Align::right);
    y += std::max(ui.px(20), words + ui.px(4));
  }
  return y + ui.px(16);
}

float draw_budget(Ui& ui, float x, float y, float w) {
  const auto& m = *ui.session.desk->measurement;
  if (m.budget.empty()) return y;
  ui.heading(x, y, "Where the \u00b1 comes from");
  const Box toggle{x + w - ui.px(72), y - ui.px(6), ui.px(72), ui.px(24)};
  const auto hit = ui.hit("result.budget", toggle);
  if (hit.clicked) ui.intents.run("result.budget");
  ui.text(toggle.right(), y, ui.session.budget_open ? "short" : "in words", ui.style.fonts.small, ui.c().act, Align::right);
  y += ui.px(22);
  const double most = std::max(1e-12, m.budget.front().u_mm2);
  auto* small = ui.style.fonts.small;
  for (const auto& line : m.budget) {
    if (line.u_mm2 < 0.01 * m.area_mm2.u && !ui.session.budget_open) continue;
    ui.text(x, y + ui.px(1), ui.fitted(source_words(line.source).words, ui.px(136), small), small, ui.c().ink);
    const float length = (w - ui.px(206)) * static_cast<float>(line.u_mm2 / most);
    ui.fill({x + ui.px(140), y + ui.px(4), std::max(ui.px(2), length), ui.px(8)}, ui.c().act, ui.px(1));
    ui.text(x + w, y + ui.px(1), "\u00b1 " + number(line.u_mm2), small, ui.c().muted, Align::right);
    y += ui.px(20);
    if (ui.session.budget_open) y += ui.wrapped(x, y, w, source_words(line.source).explained, small, ui.c().muted) + ui.px(8);
  }
  if (ui.session.budget_open)
    y += ui.wrapped(x, y, w, "Standard uncertainties in mm\u00b2; together " + number(m.area_mm2.u) + " (root of the sum of squares). The 95 % interval is about twice that to each side.", small, ui.c().muted);
  return y + ui.px(14);
}

/// Which lens profile straightens the photo, how good it is and of when; opened, the others to choose from.
float draw_lens(Ui& ui, float x, float y, float w) {
  const auto& s = ui.session;
  const auto& desk = *s.desk;
  const auto& now = desk.history.now();
  auto* small = ui.style.fonts.small;
  ui.heading(x, y, "Lens");
  const Box toggle{x + w - ui.px(72), y - ui.px(6), ui.px(72), ui.px(24)};
  const auto hit = ui.hit("scale.lens", toggle);
  if (hit.clicked) ui.intents.run("scale.lens");
  if (hit.hovered) ui.tip("Another profile, none, or one from a file", "Ctrl+Shift+L");
  ui.text(toggle.right(), y, s.lens_open ? "close" : "change", small, ui.c().act, Align::right);
  y += ui.px(22);
  const auto quality = [](const scale::LensProfile& p) {
    return fixed_text(p.rms_px, 2) + " px residual, " + std::to_string(p.views) + " photos" + (p.made ? ", " + p.made->iso_date() : ", date not kept");
  };
  const auto& camera = now.map->camera;
  std::string text;
  if (camera.from == scale::Camera::From::profile) {
    const auto* kept = s.lens_in_use();
    text = "Profile of " + (camera.name.empty() ? std::string("a camera without a name") : camera.name) + (kept ? ": " + quality(kept->profile) + "." : ", which is not among those kept here.");
  } else if (camera.from == scale::Camera::From::exif) {
    text = "No profile. The focal length is the photo's own (EXIF); how the lens bends lines is not known.";
  } else {
    text = "No profile, and the photo does not say its focal length: a common phone's is assumed.";
  }
  y += ui.wrapped(x, y, w, text, small, ui.c().ink) + ui.px(6);
  if (!s.lens_open) return y + ui.px(10);
  using By = app::LensChoice::By;
  const bool ready = desk.bgr && !desk.finding_scale && now.choice;
  const auto row = [&](const std::string& name, const std::string& title, const std::string& words, bool chosen, const std::function<void(app::Session&)>& act) {
    const float h = ui.px(14) + ui.style.fonts.body->FontSize + (words.empty() ? 0 : ui.wrapped_height(w - ui.px(20), words, small) * 1.22f + ui.px(4));
    const Box b{x, y, w, h};
    const auto row_hit = ui.hit(name, b);
    if (row_hit.clicked && ready) ui.intents.add(act);
    if (chosen || (row_hit.hovered && ready)) ui.fill(b, chosen ? ui.c().act_soft : ui.c().sunk, ui.px(5));
    ui.frame(b, chosen ? ui.c().act : ui.c().hairline, ui.px(5));
    ui.text(x + ui.px(10), y + ui.px(6), ui.fitted(title, w - ui.px(20), ui.style.fonts.body), ui.style.fonts.body, ready ? ui.c().ink : ui.c().muted);
    if (!words.empty()) ui.wrapped(x + ui.px(10), y + ui.px(10) + ui.style.fonts.body->FontSize, w - ui.px(20), words, small, ui.c().muted);
    y += h + ui.px(6);
  };
  row("lens.itself", "By itself", "The profile kept for this camera and focal length, where there is one", now.lens.by == By::itself, [](app::Session& session) { session.choose_lens({}); });
  row("lens.none", "None", "As if no profile were known; the interval allows for the lens", now.lens.by == By::none, [](app::Session& session) { session.choose_lens({app::LensChoice::By::none, {}}); });
  for (std::size_t i = 0; i < s.lenses.size(); ++i) {
    const auto& kept = s.lenses[i];
    const std::string title = kept.profile.camera.name + (kept.profile.focal_mm ? ", " + number(*kept.profile.focal_mm) + " mm" : "");
    row("lens.kept." + kept.file.filename().string(), title, quality(kept.profile), now.lens.by == By::file && now.lens.file == kept.file, [file = kept.file](app::Session& session) { session.choose_lens({app::LensChoice::By::file, file}); });
  }
  row("lens.file", "From a file \u2026", now.lens.by == By::file && !s.lens_in_use() ? now.lens.file.string() : "", now.lens.by == By::file && !s.lens_in_use(), [](app::Session& session) { session.run("scale.lens_file"); });
  return y + ui.px(10);
}

float draw_warning(Ui& ui, float x, float y, float w, const std::string& text) {
  const float h = ui.wrapped_height(w - ui.px(24), text, ui.style.fonts.small) * 1.22f + ui.px(16);
  ui.fill({x, y, w, h}, ui.c().warn_soft, ui.px(3));
  ui.fill({x, y, ui.px(3), h}, ui.c().warn);
  ui.wrapped(x + ui.px(14), y + ui.px(8), w - ui.px(24), text, ui.style.fonts.small, ui.c().ink);
  return y + h + ui.px(8);
}

/// A part that was just opened, by its key perhaps, comes into sight; `y` is its top.
void show_opened(const char* name, bool open, float y) {
  int& was = *ImGui::GetStateStorage()->GetIntRef(ImGui::GetID(name), open);
  if (open && !was) ImGui::SetScrollFromPosY(y - ImGui::GetWindowPos().y, 0);
  was = open;
}

float draw_no_scale(Ui& ui, float x, float y, float w) {
  const auto& desk = *ui.session.desk;
  const auto& map = desk.history.now().map;
  ui.text(x, y, map ? "Another scale" : "No millimetres yet", ui.style.fonts.title, ui.c().ink);
  y += ui.px(30);
  if (map) return y + ui.wrapped(x, y, w, std::string("The scale is from the ") + scale::name(map->kind) + " now. What you give here is compared with it or takes its place; undo brings it back.", ui.style.fonts.body, ui.c().muted) + ui.px(12);
  if (desk.unreadable) return y + ui.wrapped(x, y, w, said(*desk.unreadable), ui.style.fonts.body, ui.c().ink);
  if (desk.finding_scale || !desk.bgr) return y + ui.wrapped(x, y, w, desk.bgr ? "Looking for the printed card \u2026" : "Reading the photo \u2026", ui.style.fonts.body, ui.c().muted);
  if (desk.scale_refusal) y += ui.wrapped(x, y, w, said(*desk.scale_refusal), ui.style.fonts.body, ui.c().ink) + ui.px(10);
  return y;
}

}  // namespace

void draw_result(Ui& ui, const Box& box) {
  ui.hairline(box.x, box.y, box.x, box.bottom());
  const auto& s = ui.session;
  const float foot = ui.px(64), x = box.x + ui.px(24), w = box.w - ui.px(44);
  const auto& desk = *s.desk;
  const auto& now = desk.history.now();
  ui.begin_scroll("result", {box.x + 1, box.y, box.w - 1, box.h - foot});
  const float top = ImGui::GetWindowPos().y - ImGui::GetScrollY();
  float y = top + ui.px(20);
  if (desk.save_refusal && desk.unsaved() && !desk.saving()) y = draw_warning(ui, x, y, w, said(*desk.save_refusal));
  bool lens_drawn = false;
  if (s.step == app::Step::scale && (s.scale_form || !now.map)) {
    y = draw_no_scale(ui, x, y, w);
    y += draw_scale_ways(ui, x, y, w);
  } else {
    ui.heading(x, y, "Area");
    y += ui.px(24);
    if (desk.measurement && now.margin) {
      y = draw_area(ui, x, y, w);
    } else if (!now.map) {
      y = draw_no_scale(ui, x, y, w);
      if (!desk.finding_scale && desk.bgr) y += draw_scale_ways(ui, x, y, w);
    } else if (desk.measure_refusal) {
      y = draw_warning(ui, x, y, w, said(*desk.measure_refusal));
    } else if (now.margin) {
      y += ui.wrapped(x, y, w, "Measuring \u2026", ui.style.fonts.body, ui.c().muted) + ui.px(10);
    } else {
      ui.text(x, y, "Loop the wound", ui.style.fonts.title, ui.c().ink);
      y += ui.px(30);
      y += ui.wrapped(x, y, w, std::string("The scale is known from the ") + scale::name(now.map->kind) + ": " + number(1 / now.map->mm_per_px({desk.photo_width() / 2, desk.photo_height() / 2})) +
                               " px a millimetre" + (now.map->tilt_known ? ", camera tilted by " + fixed_text(now.map->tilt_deg, 0) + "\u00b0." : "."), ui.style.fonts.body, ui.c().muted) + ui.px(16);
    }
    const bool choosing = s.lens_open && now.map;  // under the area, which answers; the rest waits
    if (choosing) y = draw_lens(ui, x, y, w);
    lens_drawn = choosing;
    show_opened("lens", choosing, top);
    if (!choosing) {
      show_opened("reasons", s.reasons_open, y);
      y = draw_verdict(ui, x, y, w);
    }
    if (!choosing && desk.measurement && now.margin) {
      y = draw_bed_part(ui, x, y, w);
      show_opened("budget", s.budget_open, y);
      y = draw_budget(ui, x, y, w);
    }
  }
  if (now.map && !lens_drawn) y = draw_lens(ui, x, y, w);
  std::vector<std::string> said;
  const auto warn = [&](const std::vector<Warning>& list) {
    for (const auto& warning : list) {
      if (std::find(said.begin(), said.end(), warning.text) != said.end()) continue;
      said.push_back(warning.text);
      y = draw_warning(ui, x, y, w, warning.text);
    }
  };
  if (now.map) warn(now.map->warnings);
  if (now.margin) warn(now.margin->warnings);
  if (desk.measurement && now.margin) warn(desk.measurement->warnings);
  if (desk.bed && now.margin) warn(desk.bed->warnings);
  ui.end_scroll(y + ui.px(8));

  const float by = box.bottom() - foot + ui.px(14), bw = (w - ui.px(8)) / 2;
  ui.hairline(box.x, box.bottom() - foot, box.right(), box.bottom() - foot);
  const bool ready = desk.measurement && desk.measured == desk.generation && desk.acceptable() && !desk.saving();
  const char* label = desk.saving() ? "Saving \u2026" : desk.acceptable() || !now.margin ? "Accept \u21b5" : "Accepted";
  if (ui.button("margin.accept", {x, by, bw, ui.px(36)}, label, ready ? Look::primary : Look::plain, ready, "Keep this measurement in the case book as a new revision", "Enter"))
    ui.intents.run("margin.accept");
  if (ui.button("tool.loop.again", {x + bw + ui.px(8), by, bw, ui.px(36)}, now.margin ? "Trace again" : "Loop", Look::plain, desk.info.has_value(), "Loop the wound anew", "L")) ui.intents.run("tool.loop");
}

}  // namespace uroko::gui
