#include "gui/panels.h"

namespace uroko::gui {

void draw_dose(Ui& ui, const Box& box);
void draw_dose(Ui& ui, const Box& box) {
  const auto& f = *ui.session.dose_form;
  using app::Session;
  ui.hairline(box.x, box.y, box.x, box.bottom());
  ui.begin_scroll("sheet", {box.x + 1, box.y, box.w - 1, box.h - ui.px(64)});
  const float x = box.x + ui.px(24), w = box.w - ui.px(44), half = (w - ui.px(12)) / 2;
  float y = ImGui::GetWindowPos().y - ImGui::GetScrollY() + ui.px(20);
  ui.text(x, y, "Dose sheet", ui.style.fonts.title, ui.c().ink);
  y += ui.px(36);
  y += ui.wrapped(x, y, w, "Arithmetic for what the vet prescribed. Medicine, dose and interval are the prescribing vet's, under local law. Only the last weighing is filled in, with its date.", ui.style.fonts.small, ui.c().muted) + ui.px(12);
  y += ui.labelled_field("dose.drug", x, y, w, "Medicine, as written", f.drug, "", [](Session& s, std::string t) { s.dose_form->drug = std::move(t); });
  y += ui.labelled_field("dose.prescriber", x, y, w, "Prescribed by", f.prescriber, "", [](Session& s, std::string t) { s.dose_form->prescriber = std::move(t); });
  ui.labelled_field("dose.dose", x, y, half, "Dose, mg/kg", f.dose_mg_per_kg, "", [](Session& s, std::string t) { s.dose_form->dose_mg_per_kg = std::move(t); });
  y += ui.labelled_field("dose.strength", x + half + ui.px(12), y, half, "Strength, mg/mL", f.strength_mg_per_ml, "", [](Session& s, std::string t) { s.dose_form->strength_mg_per_ml = std::move(t); });
  ui.labelled_field("dose.weight", x, y, half, "Weighed, g", f.weight_g, "", [](Session& s, std::string t) { s.dose_form->weight_g = std::move(t); });
  y += ui.labelled_field("dose.weighed_on", x + half + ui.px(12), y, half, "on", f.weighed_on, "2026-03-19", [](Session& s, std::string t) { s.dose_form->weighed_on = std::move(t); });
  const auto result = ui.session.dose_result();
  ui.hairline(x, y, x + w, y);
  y += ui.px(14);
  if (result.volume.empty()) {
    y += ui.wrapped(x, y, w, result.problem, ui.style.fonts.body, ui.c().muted) + ui.px(10);
  } else {
    const float vw = ui.text(x, y, result.volume, ui.style.fonts.figure, ui.c().ink);
    ui.text(x + vw + ui.px(8), y + ui.px(24), "mL", ui.style.fonts.title, ui.c().muted);
    y += ui.px(60);
    for (const auto& line : result.working) y += ui.wrapped(x, y, w, line, ui.style.fonts.body, ui.c().ink) + ui.px(4);
  }
  for (const auto& line : result.cautions) {
    const float h = ui.wrapped_height(w - ui.px(24), line, ui.style.fonts.small) * 1.22f + ui.px(16);
    ui.fill({x, y + ui.px(6), w, h}, ui.c().warn_soft, ui.px(3));
    ui.fill({x, y + ui.px(6), ui.px(3), h}, ui.c().warn);
    ui.wrapped(x + ui.px(14), y + ui.px(14), w - ui.px(24), line, ui.style.fonts.small, ui.c().ink);
    y += h + ui.px(8);
  }
  ui.end_scroll(y + ui.px(20));
  ui.hairline(box.x, box.bottom() - ui.px(64), box.right(), box.bottom() - ui.px(64));
  if (ui.button("form.cancel", {x, box.bottom() - ui.px(50), w, ui.px(36)}, "Close", Look::plain)) ui.intents.run("edit.escape");
}

}  // namespace uroko::gui
