#include "gui/ui.h"

#include <cctype>
#include <cmath>

#define IMGUI_DEFINE_MATH_OPERATORS
#include <imgui_internal.h>
#include <imgui_stdlib.h>

#include "gui/panels.h"

namespace uroko::gui {

ImU32 with_alpha(ImU32 colour, int alpha) { return (colour & 0x00FFFFFFu) | (static_cast<ImU32>(alpha) << 24); }

float Ui::text_width(const std::string& s, ImFont* font) const { return font->CalcTextSizeA(font->FontSize, FLT_MAX, 0, s.data(), s.data() + s.size()).x; }

float Ui::text(float x, float y, const std::string& s, ImFont* font, ImU32 colour, Align align) const {
  const float w = text_width(s, font);
  if (align == Align::middle) x -= w / 2;
  if (align == Align::right) x -= w;
  draw->AddText(font, font->FontSize, {std::round(x), std::round(y)}, colour, s.data(), s.data() + s.size());
  return w;
}

namespace {

/// The end of the line that starts at `at`: broken at spaces only, and never between a figure and its unit.
const char* line_end(const ImFont* font, const char* at, const char* end, float width) {
  if (!at) return end;
  const char* fits = nullptr;
  for (const char* p = at; p <= end; ++p) {
    if (p < end && *p != ' ' && *p != '\n') continue;
    const bool joined = p < end && *p == ' ' && p > at && p[-1] >= '0' && p[-1] <= '9' && p + 1 < end && (p[1] == '%' || p[1] == 'm' || static_cast<unsigned char>(p[1]) == 0xC2);
    if (joined) continue;
    if (fits && font->CalcTextSizeA(font->FontSize, FLT_MAX, 0, at, p).x > width) return fits;
    fits = p;
    if (p < end && *p == '\n') return p;
  }
  return end;
}

}  // namespace

float Ui::wrapped_height(float width, const std::string& s, ImFont* font) const {
  float height = 0;
  const char *at = s.data(), *end = s.data() + s.size();
  while (at < end) {
    at = line_end(font, at, end, width);
    height += font->FontSize;
    while (at < end && (*at == ' ' || *at == '\n')) ++at;
  }
  return height;
}

float Ui::wrapped(float x, float y, float width, const std::string& s, ImFont* font, ImU32 colour) const {
  // Line by line, for a calmer line height than the font's own.
  float top = y;
  const char *at = s.data(), *end = s.data() + s.size();
  const float line = std::round(font->FontSize * 1.38f);
  while (at < end) {
    const char* stop = line_end(font, at, end, width);
    draw->AddText(font, font->FontSize, {std::round(x), std::round(top)}, colour, at, stop);
    top += line;
    at = stop;
    while (at < end && (*at == ' ' || *at == '\n')) ++at;
  }
  return top - y;
}

std::string Ui::fitted(const std::string& s, float width, ImFont* font) const {
  if (text_width(s, font) <= width) return s;
  std::string out = s;
  while (!out.empty()) {
    while (!out.empty() && (static_cast<unsigned char>(out.back()) & 0xC0) == 0x80) out.pop_back();
    if (!out.empty()) out.pop_back();
    if (text_width(out + "\u2026", font) <= width) break;
  }
  return out + "\u2026";
}

void Ui::fill(const Box& b, ImU32 colour, float rounding) const { draw->AddRectFilled(b.low(), b.high(), colour, rounding); }
void Ui::frame(const Box& b, ImU32 colour, float rounding, float width) const {
  draw->AddRect({b.x + 0.5f, b.y + 0.5f}, {b.right() - 0.5f, b.bottom() - 0.5f}, colour, rounding, 0, width);
}
void Ui::hairline(float x0, float y0, float x1, float y1) const {
  if (y0 == y1)
    draw->AddRectFilled({x0, std::round(y0)}, {x1, std::round(y0) + 1}, c().hairline);
  else
    draw->AddRectFilled({std::round(x0), y0}, {std::round(x0) + 1, y1}, c().hairline);
}

void Ui::hatch(const Box& b, float step, bool rising, ImU32 colour, float width) const {
  const float from = rising ? b.bottom() : b.y, to = rising ? b.y : b.bottom();
  each_step(b.x - b.h, b.right(), step, [&](float x) { draw->AddLine({x, from}, {x + b.h, to}, colour, width); });
}

void Ui::dots(const Box& b, float step, float radius, ImU32 colour) const {
  each_step(b.y + step / 2, b.bottom(), step, [&](float y) { each_step(b.x + step / 2, b.right(), step, [&](float x) { draw->AddCircleFilled({x, y}, radius, colour, 6); }); });
}

void Ui::dashed(const std::vector<ImVec2>& points, ImU32 colour, float width, float dash, bool closed) const {
  const std::size_t n = points.size();
  if (n < 2) return;
  float along = 0;
  for (std::size_t i = 0; i + (closed ? 0 : 1) < n; ++i) {
    const ImVec2 a = points[i], b = points[(i + 1) % n];
    const float length = std::hypot(b.x - a.x, b.y - a.y);
    for (float t = 0; t < length;) {
      const float phase = std::fmod(along + t, 2 * dash);
      const float stop = std::min(length, t + (phase < dash ? dash - phase : 2 * dash - phase) + 1e-3f);
      if (phase < dash) draw->AddLine({a.x + (b.x - a.x) * t / length, a.y + (b.y - a.y) * t / length}, {a.x + (b.x - a.x) * stop / length, a.y + (b.y - a.y) * stop / length}, colour, width);
      t = stop;
    }
    along += length;
  }
}

void Ui::heading(float x, float y, const std::string& s) const {
  // Letters a little apart, as small capitals would be. ASCII is raised, the rest stays as it is.
  for (std::size_t i = 0; i < s.size();) {
    const auto u = static_cast<unsigned char>(s[i]);
    const std::size_t n = u < 0x80 ? 1 : u < 0xE0 ? 2 : u < 0xF0 ? 3 : 4;
    std::string one = s.substr(i, n);
    if (n == 1) one[0] = static_cast<char>(std::toupper(u));
    x += text(x, y, one, style.fonts.small_bold, c().muted) + 0.8f * style.scale;
    i += n;
  }
}

Ui::Hit Ui::hit(const std::string& name, const Box& b) {
  Hit h;
  places[name] = b;
  if (b.w < 1 || b.h < 1) return h;
  ImGui::SetCursorScreenPos(b.low());
  h.clicked = ImGui::InvisibleButton(name.c_str(), {b.w, b.h});
  h.hovered = ImGui::IsItemHovered();
  h.held = ImGui::IsItemActive();
  return h;
}

void Ui::tip(const std::string& text, const std::string& key) {
  if (text.empty()) return;
  ImGui::PushStyleVar(ImGuiStyleVar_WindowPadding, {px(10), px(8)});
  ImGui::PushStyleVar(ImGuiStyleVar_WindowRounding, px(4));
  ImGui::PushStyleVar(ImGuiStyleVar_PopupBorderSize, 0);
  ImGui::PushStyleColor(ImGuiCol_PopupBg, c().over | 0xFF000000u);
  ImGui::PushStyleColor(ImGuiCol_Text, c().on_over);
  ImGui::PushFont(style.fonts.small);
  ImGui::BeginTooltip();
  ImGui::PushTextWrapPos(px(300));
  ImGui::TextUnformatted(text.c_str());
  if (!key.empty()) {
    ImGui::PushStyleColor(ImGuiCol_Text, with_alpha(c().on_over, 170));
    ImGui::TextUnformatted(("Key: " + key).c_str());
    ImGui::PopStyleColor();
  }
  ImGui::PopTextWrapPos();
  ImGui::EndTooltip();
  ImGui::PopFont();
  ImGui::PopStyleColor(2);
  ImGui::PopStyleVar(3);
}

bool Ui::button(const std::string& name, const Box& b, const std::string& label, Look look, bool enabled, const std::string& tip_text, const std::string& key) {
  const auto h = hit(name, b);
  const float r = px(6);
  ImU32 ink = c().ink;
  if (look == Look::primary) {
    fill(b, enabled ? (h.held ? c().ink : c().act) : c().sunk, r);
    ink = enabled ? c().on_act : c().muted;
    if (h.hovered && enabled) frame(b, c().ink, r);
  } else if (look == Look::plain) {
    fill(b, h.hovered && enabled ? c().act_soft : c().sunk, r);
    frame(b, c().hairline, r);
    if (!enabled) ink = c().muted;
  } else {
    if (h.hovered && enabled) fill(b, c().act_soft, r);
    ink = enabled ? c().act : c().muted;
  }
  text(b.x + b.w / 2, b.y + (b.h - style.fonts.body->FontSize) / 2, fitted(label, b.w - px(8), style.fonts.body), style.fonts.body, ink, Align::middle);
  if (h.hovered) tip(tip_text, key);
  return h.clicked && enabled;
}

void Ui::command_button(const std::string& id, const Box& b, const std::string& label, Look look) {
  const auto* command = app::command(id);
  IM_ASSERT(command && "a button for a command that is not registered");
  const bool enabled = !command->enabled || command->enabled(session);
  if (button(id, b, label, look, enabled, command->tip, command->keys.empty() ? "" : command->keys.front())) intents.run(id);
}

namespace {

/// With the keyboard comes a selection of the whole text (ImGui 1.86), which the next letter would replace.
int caret_to_end(ImGuiInputTextCallbackData* data) {
  data->ClearSelection();
  data->CursorPos = data->BufTextLen;
  static_cast<std::string*>(data->UserData)->clear();
  return 0;
}

}  // namespace

bool Ui::field(const std::string& name, const Box& b, const std::string& value, const std::string& hint, const std::function<void(app::Session&, std::string)>& changed, bool take_focus) {
  places[name] = b;
  ImGui::SetCursorScreenPos(b.low());
  ImGui::PushFont(style.fonts.body);
  ImGui::PushStyleVar(ImGuiStyleVar_FramePadding, {px(8), std::max(0.f, (b.h - style.fonts.body->FontSize) / 2)});
  ImGui::SetNextItemWidth(b.w);
  if (take_focus || enter_field.name == name) ImGui::SetKeyboardFocusHere();
  if (enter_field.name == name) enter_field = {"", name};
  std::string edited = value;
  const bool caret = enter_field.caret_to_end == name;
  const bool enter = ImGui::InputTextWithHint(("##" + name).c_str(), hint.c_str(), &edited, ImGuiInputTextFlags_EnterReturnsTrue | (caret ? ImGuiInputTextFlags_CallbackAlways : 0),
                                              caret ? caret_to_end : nullptr, &enter_field.caret_to_end);
  if (enter) enter_field = {name, ""};
  if (edited != value) intents.add([changed, edited](app::Session& s) { changed(s, edited); });
  fields[name] = edited;
  if (ImGui::IsItemActive()) {
    focus = name;
    frame(b, c().act, px(4), 1.5f);
  }
  ImGui::PopStyleVar();
  ImGui::PopFont();
  return enter;
}

float Ui::labelled_field(const std::string& name, float x, float y, float w, const std::string& label, const std::string& value, const std::string& hint,
                         const std::function<void(app::Session&, std::string)>& changed, bool focus) {
  text(x, y, label, style.fonts.small, c().muted);
  field(name, {x, y + px(18), w, px(32)}, value, hint, changed, focus);
  return px(60);
}

void Ui::begin_over(const char* name, const Box& b, bool takes_keys) {
  ImGui::SetNextWindowPos(b.low());
  ImGui::SetNextWindowSize({b.w, b.h});
  if (takes_keys) ImGui::SetNextWindowFocus();
  ImGui::PushStyleVar(ImGuiStyleVar_WindowRounding, px(8));
  ImGui::Begin(name, nullptr,
               ImGuiWindowFlags_NoDecoration | ImGuiWindowFlags_NoSavedSettings | ImGuiWindowFlags_NoMove | ImGuiWindowFlags_NoNav | (takes_keys ? 0 : ImGuiWindowFlags_NoFocusOnAppearing));
  under = draw;
  draw = ImGui::GetWindowDrawList();
}

void Ui::end_over() {
  ImGui::End();
  ImGui::PopStyleVar();
  draw = under;
}

void Ui::begin_scroll(const std::string& name, const Box& b) {
  ImGui::SetCursorScreenPos(b.low());
  ImGui::BeginChild(name.c_str(), {b.w, b.h}, false, ImGuiWindowFlags_NoNav);
  draw = ImGui::GetWindowDrawList();
}

void Ui::end_scroll(float content_bottom) {
  ImGui::SetCursorScreenPos({ImGui::GetWindowPos().x, content_bottom});
  ImGui::Dummy({1, 1});
  ImGui::EndChild();
  draw = ImGui::GetWindowDrawList();
}

std::string said(const Refusal& refusal) {
  const auto sentence = [](std::string s) {
    if (s.empty()) return s;
    s[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(s[0])));
    if (s.back() != '.') s += '.';
    return s;
  };
  return refusal.advice.empty() ? sentence(refusal.text) : sentence(refusal.text) + " " + sentence(refusal.advice);
}

}  // namespace uroko::gui
