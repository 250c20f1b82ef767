// Two visits side by side at the same millimetre scale, or every visit's outline in one frame like contour lines.
#include <algorithm>
#include <cmath>

#include "gui/panels.h"
#include "uroko/base/text.h"
#include "uroko/report/words.h"

namespace uroko::gui {

namespace {

ImU32 blend(ImU32 a, ImU32 b, float t) {
  const auto ch = [&](int shift) { return static_cast<ImU32>(std::lround((1 - t) * static_cast<float>(a >> shift & 255) + t * static_cast<float>(b >> shift & 255))) << shift; };
  return ch(0) | ch(8) | ch(16) | 0xFF000000u;
}

void draw_mode_choice(Ui& ui, const Box& box) {
  const float w = ui.px(128), h = ui.px(30);
  const Box a{box.x + ui.px(12), box.y + ui.px(12), w, h}, b{a.right() + ui.px(4), a.y, w, h};
  const bool nested = ui.session.compare.nested;
  ui.fill({a.x - ui.px(4), a.y - ui.px(4), 2 * w + ui.px(12), h + ui.px(8)}, ui.c().ground, ui.px(8));
  const auto one = [&](const char* name, const Box& at, const char* label, bool lit, bool value) {
    const auto hit = ui.hit(name, at);
    if (lit) ui.fill(at, ui.c().act_soft, ui.px(5));
    else if (hit.hovered) ui.fill(at, ui.c().sunk, ui.px(5));
    ui.text(at.middle().x, at.y + (at.h - ui.style.fonts.body->FontSize) / 2, label, ui.style.fonts.body, lit ? ui.c().act : ui.c().ink, Align::middle);
    if (hit.clicked) ui.intents.add([value](app::Session& s) { s.show_outlines(value); });
  };
  one("compare.side", a, "Side by side", !nested, false);
  one("compare.nested", b, "Outlines", nested, true);
}

void draw_nested(Ui& ui, const Box& box) {
  ui.fill(box, ui.c().ground);
  const auto& all = ui.session.nested();
  if (all.empty()) {
    ui.text(box.middle().x, box.middle().y - ui.px(10), "No accepted margin yet.", ui.style.fonts.body, ui.c().muted, Align::middle);
    return;
  }
  double x0 = 1e9, y0 = 1e9, x1 = -1e9, y1 = -1e9;
  for (const auto& n : all)
    for (const auto& part : n.outline_mm.parts)
      for (const auto& p : part.outer) {
        x0 = std::min(x0, p.x);
        x1 = std::max(x1, p.x);
        y0 = std::min(y0, p.y);
        y1 = std::max(y1, p.y);
      }
  // Where there is no room for both, the outlines alone; the strip below names the visits.
  const bool keyed = box.w >= ui.px(500);
  const float key_w = keyed ? ui.px(270) : 0;
  const Box plot{box.x + ui.px(24), box.y + ui.px(64), box.w - key_w - ui.px(48), box.h - ui.px(88)};
  const double k = std::min(plot.w / std::max(1.0, x1 - x0), plot.h / std::max(1.0, y1 - y0)) * 0.9 * ui.session.compare.zoom;
  const ImVec2 m = plot.middle();
  const auto at = [&](const PlanePoint& p) { return ImVec2{m.x + static_cast<float>((p.x - (x0 + x1) / 2) * k), m.y + static_cast<float>((p.y - (y0 + y1) / 2) * k)}; };
  ui.draw->PushClipRect(plot.low(), plot.high(), true);
  const double step = 10;
  const double gx0 = (x0 + x1) / 2 - plot.w / 2 / k, gy0 = (y0 + y1) / 2 - plot.h / 2 / k;
  for (double x = std::ceil(gx0 / step) * step; at({x, 0}).x < plot.right(); x += step) ui.hairline(at({x, 0}).x, plot.y, at({x, 0}).x, plot.bottom());
  for (double y = std::ceil(gy0 / step) * step; at({0, y}).y < plot.bottom(); y += step) ui.hairline(plot.x, at({0, y}).y, plot.right(), at({0, y}).y);
  const ImU32 early = blend(ui.c().ground, IM_COL32(230, 159, 0, 255), 0.85f), late = ui.style.theme == app::Theme::dark ? IM_COL32(86, 180, 233, 255) : IM_COL32(0, 96, 168, 255);
  const auto colour_of = [&](std::size_t i) { return blend(early, late, all.size() > 1 ? static_cast<float>(i) / static_cast<float>(all.size() - 1) : 1.f); };
  for (std::size_t i = 0; i < all.size(); ++i) {
    const bool last = i + 1 == all.size(), chosen = all[i].visit == ui.session.visit || all[i].visit == ui.session.bank.hovered;
    for (const auto& part : all[i].outline_mm.parts) {
      std::vector<ImVec2> line;
      for (const auto& p : part.outer) line.push_back(at(p));
      if (i % 2 == 1 && !last)
        ui.dashed(line, colour_of(i), (chosen ? 2.6f : 1.4f) * ui.style.scale, 5 * ui.style.scale, true);
      else
        ui.draw->AddPolyline(line.data(), static_cast<int>(line.size()), colour_of(i), ImDrawFlags_Closed, (chosen ? 3.f : last ? 2.2f : 1.4f) * ui.style.scale);
    }
  }
  ui.draw->PopClipRect();
  const auto hit = ui.hit("compare.plot", plot);
  ImGui::SetItemAllowOverlap();
  if (hit.hovered && ImGui::GetIO().MouseWheel != 0)
    ui.intents.add([w = ImGui::GetIO().MouseWheel](app::Session& s) { s.compare.zoom = std::clamp(s.compare.zoom * std::pow(1.15, w), 0.3, 20.0); });
  const bool laid = std::any_of(all.begin(), all.end(), [](const auto& n) { return n.by_skin; });
  if (!keyed) return;
  float y = plot.y;
  const float kx = box.right() - key_w;
  ui.heading(kx, y, "Visits");
  y += ui.px(24);
  const float row = std::clamp((plot.h - ui.px(120)) / static_cast<float>(all.size()), std::min(ui.px(18), (plot.h - ui.px(24)) / static_cast<float>(all.size())), ui.px(26));
  for (std::size_t i = 0; i < all.size(); ++i) {
    const Box b{kx - ui.px(6), y, key_w - ui.px(10), row};
    const auto row_hit = ui.hit("nested." + all[i].date.iso_date(), b);
    if (row_hit.clicked) ui.intents.add([id = all[i].visit](app::Session& s) { s.select_visit(id); });
    const bool chosen = all[i].visit == ui.session.visit;
    if (row_hit.hovered && !all[i].why_not.empty()) ui.tip("Centred on the visit before: " + all[i].why_not + ".", "");
    if (chosen || row_hit.hovered) ui.fill(b, chosen ? ui.c().act_soft : ui.c().sunk, ui.px(4));
    if (i % 2 == 1 && i + 1 != all.size())
      ui.dashed({{kx, y + row / 2}, {kx + ui.px(28), y + row / 2}}, colour_of(i), 2.f * ui.style.scale, 5 * ui.style.scale, false);
    else
      ui.draw->AddLine({kx, y + row / 2}, {kx + ui.px(28), y + row / 2}, colour_of(i), 2.f * ui.style.scale);
    auto* small = ui.style.fonts.small;
    ui.text(kx + ui.px(38), y + (row - small->FontSize) / 2, all[i].date.iso_date(), small, ui.c().ink);
    if (laid && !all[i].by_skin) ui.text(kx + ui.px(122), y + (row - small->FontSize) / 2, "centred", small, ui.c().muted);
    ui.text(b.right() - ui.px(8), y + (row - small->FontSize) / 2, report::mm2_text(all[i].area_mm2) + " mm\u00b2", small, ui.c().muted, Align::right);
    y += row;
  }
  std::string how;
  if (ui.session.matching_skin())
    how = "Looking for the same points of the skin in the photos \u2026 Until then the outlines are centred on each other.";
  else if (laid)
    how = std::string("Laid over each other by the skin's own pattern, each at its card's millimetres.") +
          (std::all_of(all.begin(), all.end(), [](const auto& n) { return n.by_skin; }) ? "" : " Where the skin did not tell, the outline is centred on the one before: read its size, not its place.") + " For the eye; no area comes from it. A square is 10 mm.";
  else
    how = "Millimetres on each visit's card. The skin did not tell how the fish lay, so the outlines are centred on each other and turned to where they overlap best: read their sizes, not their shift. A square is 10 mm.";
  // The words give way to the visits where there is little height.
  if (y + ui.px(14) + ui.wrapped_height(key_w - ui.px(24), how, ui.style.fonts.small) * 1.22f < box.bottom())
    ui.wrapped(kx, y + ui.px(14), key_w - ui.px(24), how, ui.style.fonts.small, ui.c().muted);
}

void draw_side(Ui& ui, const Box& box, casebook::Id id, double px_per_mm, bool left) {
  ui.fill(box, ui.c().photo_ground);
  const auto* w = ui.session.current_wound();
  const auto* v = w ? w->visit(id) : nullptr;
  if (!v) return;
  const auto* photo = ui.session.compare_photo(id);
  ui.draw->PushClipRect(box.low(), box.high(), true);
  if (!photo) {
    ui.intents.add([id](app::Session& s) { s.want_compare_photo(id); });
    ui.text(box.middle().x, box.middle().y, "Reading \u2026", ui.style.fonts.body, IM_COL32(220, 220, 220, 255), Align::middle);
  } else {
    app::View view;
    view.width = box.w;
    view.height = box.h;
    if (photo->map && !photo->outline.empty()) {
      view.centre = centroid(photo->outline);
      view.zoom = px_per_mm * photo->map->mm_per_px(view.centre);
    } else {
      view.fit(photo->pyramid->photo_width, photo->pyramid->photo_height);
    }
    draw_tiles(ui, box, "compare:" + std::to_string(id), *photo->pyramid, view);
    for (const auto& part : photo->outline.parts) {
      std::vector<ImVec2> line;
      for (const auto& p : part.outer) {
        const auto q = view.to_screen(p);
        line.push_back({box.x + static_cast<float>(q.x), box.y + static_cast<float>(q.y)});
      }
      ui.draw->AddPolyline(line.data(), static_cast<int>(line.size()), IM_COL32(255, 255, 255, 225), ImDrawFlags_Closed, 3.2f * ui.style.scale);
      ui.draw->AddPolyline(line.data(), static_cast<int>(line.size()), IM_COL32(0, 96, 168, 255), ImDrawFlags_Closed, 1.5f * ui.style.scale);
    }
    if (photo->map && !photo->outline.empty()) draw_scale_bar(ui, box, px_per_mm);
  }
  const auto hit = ui.hit(left ? "compare.left" : "compare.right", box);
  ImGui::SetItemAllowOverlap();
  if (hit.hovered && ImGui::GetIO().MouseWheel != 0)
    ui.intents.add([wheel = ImGui::GetIO().MouseWheel](app::Session& s) { s.compare.zoom = std::clamp(s.compare.zoom * std::pow(1.15, wheel), 0.1, 20.0); });
  ui.draw->PopClipRect();
  // Date and area, with the way to the visit before and after.
  const float h = ui.px(40), y = box.bottom() - h - ui.px(52);
  std::string label = v->visit.date.iso_date();
  if (const auto* p = v->measured()) label += "   " + report::mm2_text(p->measure->area_mm2) + " mm\u00b2 (" + report::range_text({p->measure->area_mm2, p->measure->u_mm2, p->measure->low95, p->measure->high95}) + ")";
  if (ui.text_width(label, ui.style.fonts.bold) + ui.px(96) > box.w - ui.px(16)) label = v->visit.date.iso_date();  // no room for the area
  const float tw = ui.text_width(label, ui.style.fonts.bold), bw = std::min(tw + ui.px(96), box.w - ui.px(8));
  const Box b{box.x + (box.w - bw) / 2, y, bw, h};
  ui.fill(b, ui.c().over, ui.px(6));
  ui.text(b.middle().x, b.y + (h - ui.style.fonts.bold->FontSize) / 2, label, ui.style.fonts.bold, ui.c().on_over, Align::middle);
  const auto step = [&](const char* name, float x, int by, const char* sign) {
    const Box s{x, b.y, ui.px(40), h};
    const auto step_hit = ui.hit(std::string(left ? "compare.left." : "compare.right.") + name, s);
    ui.text(s.middle().x, s.y + (h - ui.style.fonts.title->FontSize) / 2 - ui.px(2), sign, ui.style.fonts.title, step_hit.hovered ? IM_COL32_WHITE : with_alpha(ui.c().on_over, 170), Align::middle);
    if (step_hit.clicked)
      ui.intents.add([left, by, id](app::Session& session) {
        const auto* wound = session.current_wound();
        if (!wound) return;
        for (std::size_t i = 0; i < wound->visits.size(); ++i)
          if (wound->visits[i].visit.id == id) {
            const long next = static_cast<long>(i) + by;
            if (next >= 0 && next < static_cast<long>(wound->visits.size())) (left ? session.compare.left : session.compare.right) = wound->visits[static_cast<std::size_t>(next)].visit.id;
          }
      });
  };
  step("before", b.x, -1, "\u2039");
  step("after", b.right() - ui.px(40), 1, "\u203a");
}

}  // namespace

void draw_compare(Ui& ui, const Box& box) {
  const auto& s = ui.session;
  if (s.compare.nested) {
    draw_nested(ui, box);
  } else {
    const float half = std::floor((box.w - ui.px(2)) / 2);
    double most = 1;
    for (const auto id : {s.compare.left, s.compare.right})
      if (const auto* photo = s.compare_photo(id); photo && photo->map && !photo->outline.empty()) {
        const auto extent = calipers(photo->map->to_plane(photo->outline));
        most = std::max(most, extent.length);
      }
    const double px_per_mm = std::min<double>(half, box.h) / (1.9 * most) * s.compare.zoom;
    ui.fill(box, ui.c().ground);
    draw_side(ui, {box.x, box.y, half, box.h}, s.compare.left, px_per_mm, true);
    draw_side(ui, {box.right() - half, box.y, half, box.h}, s.compare.right, px_per_mm, false);
  }
  draw_mode_choice(ui, box);
}

}  // namespace uroko::gui
