#include "gui/scene_painter.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

namespace uroko::gui {

namespace {

ImU32 colour_of(const report::Colour& c) { return IM_COL32(c.r, c.g, c.b, c.a); }

struct Painter {
  Ui& ui;
  float x, y;
  ImVec2 at(const report::Point& p) const { return {x + static_cast<float>(p.x) * ui.style.scale, y + static_cast<float>(p.y) * ui.style.scale}; }
  float length(double l) const { return static_cast<float>(l) * ui.style.scale; }

  void operator()(const report::PolyLine& l) const {
    std::vector<ImVec2> points;
    for (const auto& p : l.points) points.push_back(at(p));
    if (points.size() < 2) return;
    const float w = std::max(1.f, length(l.width));
    // Level and upright hairlines fall on whole pixels.
    if (points.size() == 2 && !l.closed && l.width <= 1 && (points[0].y == points[1].y || points[0].x == points[1].x))
      for (auto& p : points) p = {std::floor(p.x) + 0.5f, std::floor(p.y) + 0.5f};
    if (l.dash == report::Dash::solid)
      ui.draw->AddPolyline(points.data(), static_cast<int>(points.size()), colour_of(l.colour), l.closed ? ImDrawFlags_Closed : 0, w);
    else
      ui.dashed(points, colour_of(l.colour), w, length(l.dash == report::Dash::dashed ? 4 : 1.6), l.closed);
  }
  void operator()(const report::Fill& f) const {
    if (f.points.size() < 3) return;
    std::vector<ImVec2> points;
    for (const auto& p : f.points) points.push_back(at(p));
    // The painter's fills are convex or x-monotone bands; bands are cut into quads so that they need not be convex.
    if (points.size() > 4 && points.size() % 2 == 0) {
      const std::size_t n = points.size(), half = n / 2;
      bool band = true;
      for (std::size_t i = 0; i < half; ++i) band &= std::abs(points[i].x - points[n - 1 - i].x) < 0.75f;
      if (band) {
        for (std::size_t i = 0; i + 1 < half; ++i) {
          const ImVec2 quad[4] = {points[i], points[i + 1], points[n - 2 - i], points[n - 1 - i]};
          ui.draw->AddConvexPolyFilled(quad, 4, colour_of(f.colour));
        }
        return;
      }
    }
    ui.draw->AddConvexPolyFilled(points.data(), static_cast<int>(points.size()), colour_of(f.colour));
    if (f.hatch == report::Hatch::none) return;
    ImVec2 low = points[0], high = points[0];
    for (const auto& p : points) {
      low = {std::min(low.x, p.x), std::min(low.y, p.y)};
      high = {std::max(high.x, p.x), std::max(high.y, p.y)};
    }
    ui.draw->PushClipRect(low, high, true);
    const Box box{low.x, low.y, high.x - low.x, high.y - low.y};
    const float step = length(5);
    constexpr ImU32 mark = IM_COL32(255, 255, 255, 190);
    if (f.hatch == report::Hatch::diagonal || f.hatch == report::Hatch::cross) ui.hatch(box, step, true, mark);
    if (f.hatch == report::Hatch::cross) ui.hatch(box, step, false, mark);
    if (f.hatch == report::Hatch::dots) ui.dots(box, step, length(1), mark);
    ui.draw->PopClipRect();
  }
  void operator()(const report::Disc& d) const {
    ui.draw->AddCircleFilled(at(d.at), length(d.radius), colour_of(d.fill), 24);
    if (d.edge.a && d.edge_width > 0) ui.draw->AddCircle(at(d.at), length(d.radius), colour_of(d.edge), 24, length(d.edge_width));
  }
  void operator()(const report::Label& l) const {
    ImFont* font = l.bold ? (l.size < 13 ? ui.style.fonts.small_bold : ui.style.fonts.bold) : l.size < 13 ? ui.style.fonts.small : ui.style.fonts.body;
    const float size = l.size < 13 ? font->FontSize * static_cast<float>(std::max(0.9, l.size / kSmall)) : length(l.size);
    const ImVec2 extent = font->CalcTextSizeA(size, FLT_MAX, 0, l.text.c_str());
    ImVec2 p = at(l.at);
    const float shift = l.anchor == report::Anchor::middle ? extent.x / 2 : l.anchor == report::Anchor::right ? extent.x : 0;
    const float ascent = font->Ascent * size / font->FontSize;
    const int first = ui.draw->VtxBuffer.Size;
    ui.draw->AddText(font, size, {std::round(p.x - shift), std::round(p.y - ascent)}, colour_of(l.colour), l.text.c_str());
    if (l.turn_deg != 0) {
      const float a = static_cast<float>(l.turn_deg * std::numbers::pi / 180), c = std::cos(a), s = std::sin(a);
      for (int i = first; i < ui.draw->VtxBuffer.Size; ++i) {
        auto& v = ui.draw->VtxBuffer[i].pos;
        const float dx = v.x - p.x, dy = v.y - p.y;
        v = {p.x + c * dx - s * dy, p.y + s * dx + c * dy};
      }
    }
  }
  void operator()(const report::Picture& picture) const {
    if (picture.bgr.empty()) return;
    const auto texture = ui.textures.get("scene:" + std::to_string(reinterpret_cast<std::uintptr_t>(picture.bgr.data)), [&] {
      cv::Mat rgba;
      cv::cvtColor(picture.bgr, rgba, cv::COLOR_BGR2RGBA);
      return rgba;
    });
    if (texture) ui.draw->AddImage(texture, at(picture.at), at({picture.at.x + picture.w, picture.at.y + picture.h}));
  }
};

}  // namespace

void paint_scene(Ui& ui, const report::Scene& scene, float x, float y) {
  const Painter painter{ui, x, y};
  for (const auto& item : scene.items) std::visit(painter, item);
}

}  // namespace uroko::gui
