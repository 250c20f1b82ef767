// The photo with its tools. The margin never hides the wound: a thin double stroke, small hollow handles.
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "gui/panels.h"
#include "uroko/app/outline_edit.h"
#include "uroko/base/text.h"

namespace uroko::gui {

namespace {

using app::Desk;
using app::ScreenPoint;
using app::ToolId;

constexpr ImU32 kLight = IM_COL32(255, 255, 255, 225), kMargin = IM_COL32(0, 96, 168, 255), kGhost = IM_COL32(20, 20, 20, 220), kSkin = IM_COL32(213, 94, 0, 255),
                kProposal = IM_COL32(204, 121, 167, 255);

struct Canvas {
  Ui& ui;
  const Box& box;
  const app::View& view;
  ImVec2 at(const ImagePoint& p) const {
    const auto s = view.to_screen(p);
    return {box.x + static_cast<float>(s.x), box.y + static_cast<float>(s.y)};
  }
  std::vector<ImVec2> line(const std::vector<ImagePoint>& points) const {
    std::vector<ImVec2> out;
    out.reserve(points.size());
    for (const auto& p : points) out.push_back(at(p));
    return out;
  }
};

void double_stroke(const Canvas& c, const std::vector<ImagePoint>& points, ImU32 colour, bool closed, float w = 1) {
  const auto line = c.line(points);
  const auto flags = closed ? ImDrawFlags_Closed : ImDrawFlags_None;
  c.ui.draw->AddPolyline(line.data(), static_cast<int>(line.size()), kLight, flags, 3.4f * w * c.ui.style.scale);
  c.ui.draw->AddPolyline(line.data(), static_cast<int>(line.size()), colour, flags, 1.5f * w * c.ui.style.scale);
}

void draw_outline(const Canvas& c, const ImageOutline& outline, bool handles_shown, ImU32 colour) {
  const float r = 3.2f * c.ui.style.scale;
  const auto ring = [&](const Ring<ImagePoint>& points) {
    if (points.size() < 2) return;
    double_stroke(c, points, colour, true);
    if (!handles_shown) return;
    for (const auto& h : app::handles(points, 44.0 * c.ui.style.scale / c.view.zoom)) {
      c.ui.draw->AddCircleFilled(c.at(h), r, IM_COL32(255, 255, 255, 255), 12);
      c.ui.draw->AddCircle(c.at(h), r, colour, 12, 1.4f * c.ui.style.scale);
    }
  };
  for (const auto& part : outline.parts) {
    ring(part.outer);
    for (const auto& hole : part.holes) ring(hole);
  }
}

void draw_ghost(const Canvas& c, const app::Ghost& ghost, const scale::PlaneMap& map) {
  ImVec2 right{-1e9f, 0}, left{1e9f, 0};
  for (const auto& part : ghost.outline_mm.parts) {
    std::vector<ImVec2> line;
    for (const auto& p : part.outer) line.push_back(c.at(map.to_image(p)));
    c.ui.dashed(line, kLight, 2.6f * c.ui.style.scale, 6 * c.ui.style.scale, true);
    c.ui.dashed(line, kGhost, 1.2f * c.ui.style.scale, 6 * c.ui.style.scale, true);
    for (const auto& p : line) {
      if (p.x > right.x) right = p;
      if (p.x < left.x) left = p;
    }
  }
  if (right.x < -1e8f) return;
  const auto* font = c.ui.style.fonts.small;
  const std::string label = ghost.date + (ghost.by_skin ? "" : ", centred");
  const float w = c.ui.text_width(label, c.ui.style.fonts.small);
  Box tag{right.x + c.ui.px(6), right.y - c.ui.px(10), w + c.ui.px(10), font->FontSize + c.ui.px(6)};
  if (tag.x + tag.w > c.box.x + c.box.w) tag = {left.x - c.ui.px(6) - tag.w, left.y - c.ui.px(10), tag.w, tag.h};
  c.ui.fill(tag, c.ui.c().over, c.ui.px(3));
  c.ui.text(tag.x + c.ui.px(5), tag.y + c.ui.px(3), label, c.ui.style.fonts.small, c.ui.c().on_over);
}

void draw_reference(const Canvas& c, const scale::PlaneMap& map, bool lit) {
  if (map.reference.size() < 2) return;
  const auto line = c.line(map.reference);
  const bool closed = map.reference.size() > 2;
  c.ui.draw->AddPolyline(line.data(), static_cast<int>(line.size()), IM_COL32(0, 0, 0, lit ? 150 : 90), closed ? ImDrawFlags_Closed : 0, 3.f * c.ui.style.scale);
  c.ui.draw->AddPolyline(line.data(), static_cast<int>(line.size()), IM_COL32(230, 240, 255, lit ? 255 : 170), closed ? ImDrawFlags_Closed : 0, 1.2f * c.ui.style.scale);
}

/// Classes over the photo: a thin colour and the class's own hatching, drawn at three picture pixels a label pixel at least.
cv::Mat bed_picture(const bed::Bed& bed) {
  const int k = std::max(1, static_cast<int>(std::ceil(900.0 / std::max(1, std::max(bed.labels.cols, bed.labels.rows)))));
  cv::Mat big;
  cv::resize(bed.labels, big, {}, k, k, cv::INTER_NEAREST);
  cv::Mat out(big.size(), CV_8UC4, cv::Scalar::all(0));
  const int period = std::max(8, big.cols / 70);
  for (int y = 0; y < big.rows; ++y)
    for (int x = 0; x < big.cols; ++x) {
      const int t = big.at<std::uint8_t>(y, x);
      if (t >= bed::kTissues) continue;
      const auto& look = bed_look(t);
      const bool edge = (x + 2 < big.cols && big.at<std::uint8_t>(y, x + 2) != t) || (y + 2 < big.rows && big.at<std::uint8_t>(y + 2, x) != t);
      const int dot = (x % period - period / 2) * (x % period - period / 2) + (y % period - period / 2) * (y % period - period / 2);
      bool mark = false;
      if (look.hatch == 1) mark = (x + y) % period < period / 4;
      if (look.hatch == 2) mark = dot < period * period / 12;
      if (look.hatch == 3) mark = (x + y) % period < period / 5 || (x - y + 100 * period) % period < period / 5;
      if (look.hatch == 4) mark = dot < period * period / 30;
      if (look.hatch == 5) mark = y % period < period / 4;
      auto& px = out.at<cv::Vec4b>(y, x);
      px = {static_cast<std::uint8_t>(look.colour & 255), static_cast<std::uint8_t>(look.colour >> 8 & 255), static_cast<std::uint8_t>(look.colour >> 16 & 255),
            static_cast<std::uint8_t>(edge ? 255 : mark ? 220 : 70)};
      if (edge) px = {255, 255, 255, 200};
    }
  return out;
}

void draw_bed(const Canvas& c, const Desk& desk) {
  const auto& bed = *desk.bed;
  if (bed.labels.empty()) return;
  const auto name = "bed:" + std::to_string(desk.id) + ":" + std::to_string(desk.measured);
  const auto texture = c.ui.textures.get(name, [&] { return bed_picture(bed); }, true);
  if (!texture) return;
  const double x0 = bed.box.x - 0.5, y0 = bed.box.y - 0.5, x1 = x0 + bed.box.width, y1 = y0 + bed.box.height;
  c.ui.draw->AddImageQuad(texture, c.at({x0, y0}), c.at({x1, y0}), c.at({x1, y1}), c.at({x0, y1}));
}

void draw_loupe(const Canvas& c, const Desk& desk, const ImagePoint& at, const ImageOutline& outline) {
  if (!desk.bgr || at.x < 0 || at.y < 0 || at.x >= desk.photo_width() || at.y >= desk.photo_height()) return;
  constexpr int kSide = 41, kTimes = 5;
  const cv::Rect wanted(static_cast<int>(std::lround(at.x)) - kSide / 2, static_cast<int>(std::lround(at.y)) - kSide / 2, kSide, kSide);
  const cv::Rect there = wanted & cv::Rect(0, 0, desk.bgr->cols, desk.bgr->rows);
  if (there.area() == 0) return;
  cv::Mat patch(kSide, kSide, CV_8UC3, cv::Scalar::all(40));
  (*desk.bgr)(there).copyTo(patch(there - wanted.tl()));
  cv::Mat big, rgba;
  cv::resize(patch, big, {}, kTimes, kTimes, cv::INTER_NEAREST);
  cv::cvtColor(big, rgba, cv::COLOR_BGR2RGBA);
  const auto stroke = [&](const Ring<ImagePoint>& ring) {
    std::vector<cv::Point> line;
    for (const auto& p : ring) line.emplace_back(static_cast<int>(std::lround(16 * ((p.x - wanted.x + 0.5) * kTimes))), static_cast<int>(std::lround(16 * ((p.y - wanted.y + 0.5) * kTimes))));
    if (line.size() < 2) return;
    cv::polylines(rgba, line, true, {255, 255, 255, 255}, 3, cv::LINE_AA, 4);
    cv::polylines(rgba, line, true, {0, 96, 168, 255}, 1, cv::LINE_AA, 4);
  };
  for (const auto& part : outline.parts) {
    stroke(part.outer);
    for (const auto& hole : part.holes) stroke(hole);
  }
  const int mid = kSide * kTimes / 2;
  cv::line(rgba, {mid - 9, mid}, {mid - 3, mid}, {255, 255, 255, 255});
  cv::line(rgba, {mid + 3, mid}, {mid + 9, mid}, {255, 255, 255, 255});
  cv::line(rgba, {mid, mid - 9}, {mid, mid - 3}, {255, 255, 255, 255});
  cv::line(rgba, {mid, mid + 3}, {mid, mid + 9}, {255, 255, 255, 255});
  c.ui.textures.forget("loupe");
  const auto texture = c.ui.textures.get("loupe", [&] { return rgba; }, true);
  if (!texture) return;
  const float r = c.ui.px(kSide * kTimes / 2.0);
  const ImVec2 p = c.at(at);
  // Away from the pointer, inside the panel.
  ImVec2 m{p.x + r + c.ui.px(28), p.y - r - c.ui.px(28)};
  if (m.x + r > c.box.right() - c.ui.px(8)) m.x = p.x - r - c.ui.px(28);
  if (m.y - r < c.box.y + c.ui.px(8)) m.y = p.y + r + c.ui.px(28);
  c.ui.draw->AddImageRounded(texture, {m.x - r, m.y - r}, {m.x + r, m.y + r}, {0, 0}, {1, 1}, IM_COL32_WHITE, r);
  c.ui.draw->AddCircle(m, r, kLight, 64, 2.5f * c.ui.style.scale);
  c.ui.draw->AddCircle(m, r + 1.5f * c.ui.style.scale, IM_COL32(0, 0, 0, 140), 64, 1);
}

void draw_tool_strip(Ui& ui, const Box& photo, float hint_h) {
  const auto& s = ui.session;
  const bool scale_step = s.step == app::Step::scale;
  static constexpr ToolId kMarginTools[] = {ToolId::loop, ToolId::points, ToolId::inside, ToolId::outside, ToolId::push, ToolId::redraw, ToolId::hole, ToolId::part};
  static constexpr ToolId kScaleTools[] = {ToolId::ruler, ToolId::disc, ToolId::rectangle, ToolId::board, ToolId::midline, ToolId::grey};
  const ToolId* tools = scale_step ? kScaleTools : kMarginTools;
  const int count = scale_step ? 6 : 8;
  // Above the hint's line. Where there is little height the keys stand alone; the tips hold the names.
  const float w = ui.px(60), pad = ui.px(4), h = std::floor(std::min(ui.px(44), (photo.h - ui.px(12 + 8 + 12) - hint_h - 2 * pad) / static_cast<float>(count)));
  if (h < ui.px(15)) return;
  const bool names = h >= ui.px(30);
  const Box strip{photo.x + ui.px(12), photo.y + ui.px(12), (names ? w : ui.px(32)) + 2 * pad, count * h + 2 * pad};
  ui.fill(strip, ui.c().ground, ui.px(8));
  ui.frame(strip, ui.c().hairline, ui.px(8));
  for (int i = 0; i < count; ++i) {
    const auto& a = app::about(tools[i]);
    const std::string id = std::string("tool.") + a.name;
    const auto* command = app::command(id);
    const bool enabled = !command->enabled || command->enabled(s), chosen = s.desk && s.desk->tool && s.desk->tool->id() == tools[i];
    const Box b{strip.x + pad, strip.y + pad + i * h, strip.w - 2 * pad, h};
    const auto hit = ui.hit(id, b);
    if (hit.clicked && enabled) ui.intents.run(id);
    if (chosen) {
      ui.fill(b.inset(1), ui.c().act_soft, ui.px(5));
      ui.frame(b.inset(1), ui.c().act, ui.px(5));
    } else if (hit.hovered && enabled) {
      ui.fill(b.inset(1), ui.c().sunk, ui.px(5));
    }
    const ImU32 ink = !enabled ? with_alpha(ui.c().muted, 120) : chosen ? ui.c().act : ui.c().ink;
    const float top = b.y + (b.h - ui.style.fonts.bold->FontSize - (names ? ui.style.fonts.small->FontSize + ui.px(1) : 0)) / 2;
    ui.text(b.x + b.w / 2, top, a.key, ui.style.fonts.bold, ink, Align::middle);
    if (names) ui.text(b.x + b.w / 2, top + ui.style.fonts.bold->FontSize + ui.px(1), a.name, ui.style.fonts.small, chosen ? ui.c().act : with_alpha(ui.c().muted, enabled ? 255 : 120), Align::middle);
    if (hit.hovered) ui.tip(std::string(a.label) + ". " + a.hint, a.key);
  }
}

std::string hint_of(const app::Session& s) {
  const auto& d = *s.desk;
  if (d.unreadable) return said(*d.unreadable);
  if (!d.info) return "Opening the photo";
  if (d.finding_margin) return "Finding the margin \u2026";
  if (d.margin_refusal) return said(*d.margin_refusal);
  if (s.step == app::Step::scale && d.finding_scale) return "Looking for the card \u2026";
  if (!d.tool) return {};
  const auto id = d.tool->id();
  if (s.step == app::Step::scale && app::about(id).of_margin && d.history.now().map) return std::string("The scale is from the ") + scale::name(d.history.now().map->kind) + ". Choose another way on the left, or go on to the margin.";
  if (id == ToolId::points && d.history.now().margin && d.unsaved() && d.measurement) return "Enter accepts. " + std::string(app::about(id).hint);
  if (id == ToolId::rectangle && d.tool->line()) return "Corner " + std::to_string(std::min<std::size_t>(4, d.tool->line()->size() + 1)) + " of 4. " + app::about(id).hint;
  return app::about(id).hint;
}

/// What to do now, at the photo's foot beside the scale bar; its height.
float draw_hint(Ui& ui, const Box& photo) {
  const auto hint = hint_of(ui.session);
  if (hint.empty()) return 0;
  auto* font = ui.style.fonts.small;
  const float most = photo.w * 0.66f - ui.px(32), tw = std::min(most, ui.text_width(hint, font)), th = ui.wrapped_height(tw + 1, hint, font);
  const float lines = std::max(1.f, std::round(th / font->FontSize)), h = lines * std::round(font->FontSize * 1.38f) + ui.px(10);
  const Box b{photo.x + ui.px(12), photo.bottom() - h - ui.px(12), tw + ui.px(20), h};
  ui.fill(b, ui.c().over, ui.px(4));
  ui.wrapped(b.x + ui.px(10), b.y + ui.px(6), tw + 1, hint, font, ui.c().on_over);
  return h;
}

void pointer_over(Ui& ui, const Box& box, const Canvas& canvas, const Ui::Hit& hit) {
  const auto& io = ImGui::GetIO();
  const auto& desk = *ui.session.desk;
  const ImVec2 m = io.MousePos;
  const ScreenPoint at{m.x - box.x, m.y - box.y};
  const app::Pointer pointer{desk.view.to_photo(at), 1 / desk.view.zoom * ui.style.scale, io.KeyShift, io.KeyCtrl, io.KeyAlt};
  const bool space = ImGui::IsKeyDown(32);
  const bool active = ImGui::IsItemActive();

  if (hit.hovered && (io.MouseWheel != 0 || io.MouseWheelH != 0)) {
    const float wheel = io.MouseWheel, side = io.MouseWheelH;
    const bool shift = io.KeyShift;
    ui.intents.add([=](app::Session& s) {
      if (!s.desk) return;
      if (side != 0 || shift)
        s.desk->view.pan(40 * (side + (shift ? wheel : 0)), 0);
      else
        s.desk->view.zoom_about(at, std::pow(1.2, wheel));
    });
  }
  const bool moved = io.MouseDelta.x != 0 || io.MouseDelta.y != 0;
  const bool panning = (active && space && ImGui::IsMouseDown(0)) || (hit.hovered && ImGui::IsMouseDown(2));
  if (panning) {
    ImGui::SetMouseCursor(ImGuiMouseCursor_ResizeAll);
    if (moved) ui.intents.add([d = io.MouseDelta](app::Session& s) { if (s.desk) s.desk->view.pan(d.x, d.y); });
    return;
  }
  if (space) return;
  if (hit.hovered && ImGui::IsMouseDoubleClicked(0))
    ui.intents.add([=](app::Session& s) { s.double_click(pointer); });
  else if (ImGui::IsItemActivated())
    ui.intents.add([=](app::Session& s) { s.press(pointer); });
  else if (active && moved)
    ui.intents.add([=](app::Session& s) { s.drag(pointer); });
  if (ImGui::IsItemDeactivated()) ui.intents.add([=](app::Session& s) { s.release(pointer); });

  if (!hit.hovered) return;
  if (desk.tool && desk.tool->brush_px() > 0) {
    ui.draw->AddCircle(m, static_cast<float>(desk.tool->brush_px()) * ui.style.scale, IM_COL32(0, 0, 0, 120), 48, 2.5f * ui.style.scale);
    ui.draw->AddCircle(m, static_cast<float>(desk.tool->brush_px()) * ui.style.scale, kLight, 48, 1.2f * ui.style.scale);
  }
  if (ui.session.loupe_shown) draw_loupe(canvas, desk, pointer.at, desk.tool && desk.tool->preview() ? *desk.tool->preview() : desk.history.now().outline());
}

}  // namespace

void draw_tiles(Ui& ui, const Box& box, const std::string& name, const app::Pyramid& pyramid, const app::View& view) {
  const Canvas canvas{ui, box, view};
  const auto level_drawn = [&](int index, bool at_once) {
    const auto& level = pyramid.levels[static_cast<std::size_t>(index)].bgr;
    const double sx = static_cast<double>(pyramid.photo_width) / level.cols, sy = static_cast<double>(pyramid.photo_height) / level.rows;
    for (int row = 0; row * app::kTile < level.rows; ++row)
      for (int column = 0; column * app::kTile < level.cols; ++column) {
        const app::TilePlace place{index, column, row};
        const cv::Rect t = app::tile_box(pyramid, place);
        const ImagePoint low{t.x * sx - 0.5, t.y * sy - 0.5}, high{(t.x + t.width) * sx - 0.5, (t.y + t.height) * sy - 0.5};
        const ImVec2 a = canvas.at(low), b = canvas.at({high.x, low.y}), c = canvas.at(high), d = canvas.at({low.x, high.y});
        if (std::max({a.x, b.x, c.x, d.x}) < box.x || std::min({a.x, b.x, c.x, d.x}) > box.right() || std::max({a.y, b.y, c.y, d.y}) < box.y || std::min({a.y, b.y, c.y, d.y}) > box.bottom()) continue;
        const auto texture = ui.textures.get(name + ":" + std::to_string(index) + ":" + std::to_string(column) + ":" + std::to_string(row), [&] { return app::tile_pixels(pyramid, place); }, at_once);
        if (!texture) {
          ui.again = true;
          continue;
        }
        const float bx = 1.f / (t.width + 2), by = 1.f / (t.height + 2);
        ui.draw->AddImageQuad(texture, a, b, c, d, {bx, by}, {1 - bx, by}, {1 - bx, 1 - by}, {bx, 1 - by});
      }
  };
  const int wanted = pyramid.level_for(view.zoom), coarse = static_cast<int>(pyramid.levels.size()) - 1;
  if (coarse != wanted) level_drawn(coarse, true);  // something at once, everywhere
  level_drawn(wanted, false);
}

void draw_scale_bar(Ui& ui, const Box& box, double screen_px_per_mm, float share) {
  double mm = 10;
  while (mm * screen_px_per_mm < ui.px(24) && mm < 1000) mm *= 10;
  while (mm * screen_px_per_mm > std::max(ui.px(40), box.w * share - ui.px(80)) && mm > 0.1) mm /= 10;
  const float length = static_cast<float>(mm * screen_px_per_mm);
  const std::string label = number_text(mm) + " mm";
  auto* font = ui.style.fonts.small;
  const float w = length + ui.text_width(label, font) + ui.px(34), h = ui.px(26);
  const Box b{box.right() - w - ui.px(12), box.bottom() - h - ui.px(12), w, h};
  ui.fill(b, ui.c().over, ui.px(4));
  const float y = b.y + h / 2;
  const ImU32 ink = ui.c().on_over;
  ui.draw->AddRectFilled({b.x + ui.px(12), y - ui.px(1)}, {b.x + ui.px(12) + length, y + ui.px(1)}, ink);
  ui.draw->AddRectFilled({b.x + ui.px(12), y - ui.px(4)}, {b.x + ui.px(12) + ui.px(1), y + ui.px(4)}, ink);
  ui.draw->AddRectFilled({b.x + ui.px(12) + length - ui.px(1), y - ui.px(4)}, {b.x + ui.px(12) + length, y + ui.px(4)}, ink);
  ui.text(b.right() - ui.px(12), b.y + (h - font->FontSize) / 2, label, font, ink, Align::right);
}

void draw_photo(Ui& ui, const Box& box) {
  ui.fill(box, ui.c().photo_ground);
  const auto& s = ui.session;
  if (!s.desk) return;
  const auto& desk = *s.desk;
  if (std::abs(desk.view.width - box.w) > 0.5 || std::abs(desk.view.height - box.h) > 0.5)
    ui.intents.add([w = box.w, h = box.h](app::Session& session) { session.resize_photo(w, h); });
  ui.draw->PushClipRect(box.low(), box.high(), true);
  const Canvas canvas{ui, box, desk.view};
  if (desk.pyramid) draw_tiles(ui, box, "desk:" + std::to_string(desk.id) + (desk.loaded_whole() ? ":whole" : ":preview"), *desk.pyramid, desk.view);
  const auto& now = desk.history.now();
  const ImageOutline& outline = desk.tool && desk.tool->preview() ? *desk.tool->preview() : now.outline();
  if (now.map) draw_reference(canvas, *now.map, s.step == app::Step::scale);
  if (s.overlay_shown && desk.bed && desk.measured == desk.generation) draw_bed(canvas, desk);
  if (s.ghost_shown && now.map && s.ghost()) draw_ghost(canvas, *s.ghost(), *now.map);
  for (const auto& t : now.earlier)
    for (const auto& part : t->outline.parts) {
      const auto line = canvas.line(part.outer);
      ui.dashed(line, kLight, 2.2f * ui.style.scale, 3 * ui.style.scale, true);
      ui.dashed(line, kMargin, 1.1f * ui.style.scale, 3 * ui.style.scale, true);
    }
  if (s.step == app::Step::scale && now.body && now.body->midline) double_stroke(canvas, {now.body->midline->first, now.body->midline->second}, kMargin, false);
  if (!outline.empty()) draw_outline(canvas, outline, s.step == app::Step::margin && desk.tool && desk.tool->id() == ToolId::points, now.margin && now.margin->proposal ? kProposal : kMargin);
  if (desk.tool) {
    if (const auto chosen = desk.tool->selected()) {
      ui.draw->AddCircleFilled(canvas.at(*chosen), 4.5f * ui.style.scale, kMargin, 16);
      ui.draw->AddCircle(canvas.at(*chosen), 5.f * ui.style.scale, kLight, 16, 1.5f * ui.style.scale);
    }
    if (const auto* line = desk.tool->line(); line && !line->empty()) {
      const auto id = desk.tool->id();
      const bool stroke = id == ToolId::inside || id == ToolId::outside;
      const bool out = (id == ToolId::outside) != ImGui::GetIO().KeyShift;
      auto points = *line;
      if (!stroke && ui.places.count("photo") && !ImGui::IsMouseDown(0)) points.push_back(desk.view.to_photo({ImGui::GetIO().MousePos.x - box.x, ImGui::GetIO().MousePos.y - box.y}));
      double_stroke(canvas, points, stroke && out ? kSkin : kMargin, false, stroke ? 2.2f : 1);
      if (!stroke)
        for (const auto& p : *line)
          if (line->size() < 40) ui.draw->AddCircleFilled(canvas.at(p), 3.f * ui.style.scale, kLight, 12);
    }
  }
  const auto hit = ui.hit("photo", box);
  ImGui::SetItemAllowOverlap();
  pointer_over(ui, box, canvas, hit);
  ui.draw->PopClipRect();

  if (now.map) {
    ImagePoint where{desk.photo_width() / 2, desk.photo_height() / 2};
    if (!now.outline().empty() && !now.outline().parts[0].outer.empty()) where = now.outline().parts[0].outer.front();
    const double mm_per_px = now.map->mm_per_px(where);
    if (mm_per_px > 0) draw_scale_bar(ui, box, desk.view.zoom / mm_per_px, 0.34f);
  }
  draw_tool_strip(ui, box, draw_hint(ui, box));
}

}  // namespace uroko::gui
