#include "gui/style.h"

#include <cmath>
#include <filesystem>
#include <string>

#include "uroko/base/error.h"

namespace uroko::gui {

namespace {
constexpr ImU32 rgb(unsigned hex, unsigned a = 255) { return IM_COL32((hex >> 16) & 255, (hex >> 8) & 255, hex & 255, a); }
}  // namespace

const Colours& colours(app::Theme theme) {
  static const Colours light{rgb(0xFBFAF6), rgb(0xF2F0E9), rgb(0x1B252D), rgb(0x646E76), rgb(0xDDD9CE), rgb(0x918D82), rgb(0x1F4E8C), rgb(0xE5ECF6), rgb(0xFFFFFF),
                             rgb(0xB5402B), rgb(0xD9A000), rgb(0xFBF1DF), rgb(0x007A59), rgb(0x30363A), rgb(0x1E262B, 225), rgb(0xF4F2EC)};
  static const Colours dark{rgb(0x14181B), rgb(0x1D2327), rgb(0xE6E3DA), rgb(0x98A0A6), rgb(0x2D353B), rgb(0x66717A), rgb(0x86B4EA), rgb(0x20314A), rgb(0x10161C),
                            rgb(0xE58468), rgb(0xE3B341), rgb(0x2E2617), rgb(0x55C9A2), rgb(0x0C0F11), rgb(0x0A0D0F, 225), rgb(0xE6E3DA)};
  return theme == app::Theme::dark ? dark : light;
}

Fonts load_fonts(ImFontAtlas& atlas, float scale) {
  // Latin, Greek, Cyrillic, punctuation, super- and subscripts, arrows, mathematics, geometric shapes: what DejaVu Sans holds and the window writes.
  static const ImWchar kText[] = {0x20, 0x17F, 0x18F, 0x18F, 0x1C0, 0x24F, 0x370, 0x3FF, 0x400, 0x45F, 0x1E00, 0x1EFF, 0x2010, 0x2044, 0x2070, 0x209C,
                                  0x20AC, 0x20AC, 0x2103, 0x2103, 0x2190, 0x21B5, 0x2200, 0x22FF, 0x25A0, 0x25FF, 0x2713, 0x2715, 0xFFFD, 0xFFFD, 0};
  static const ImWchar kDigits[] = {0x20, 0x7E, 0xB1, 0xB7, 0x2013, 0x2014, 0x2212, 0x2212, 0};
  const std::string folder = "/usr/share/fonts/truetype/dejavu/";
  const std::string regular = folder + "DejaVuSans.ttf", bold = folder + "DejaVuSans-Bold.ttf";
  for (const auto& file : {regular, bold})
    if (!std::filesystem::exists(file)) throw Error(Fault::usage, "no-font", file, "the letters of the window are not installed", "install the package fonts-dejavu-core");
  atlas.Clear();
  atlas.Flags |= ImFontAtlasFlags_NoPowerOfTwoHeight;
  const auto add = [&](const std::string& file, float size, const ImWchar* range) {
    ImFontConfig config;
    config.OversampleH = scale < 1.5f ? 3 : 1;
    config.OversampleV = 1;
    config.PixelSnapH = scale >= 1.5f;
    config.RasterizerMultiply = 1.08f;
    return atlas.AddFontFromFileTTF(file.c_str(), std::round(size * scale), &config, range);
  };
  Fonts f;
  f.body = add(regular, kBody, kText);
  f.small = add(regular, kSmall, kText);
  f.small_bold = add(bold, kSmall, kText);
  f.bold = add(bold, kBody, kText);
  f.title = add(bold, kTitle, kText);
  f.figure = add(bold, kFigure, kDigits);
  return f;
}

void apply_style(const Style& style) {
  const auto& c = style.c();
  auto& s = ImGui::GetStyle();
  s = ImGuiStyle();
  s.WindowPadding = {0, 0};
  s.WindowBorderSize = 0;
  s.ChildBorderSize = 0;
  s.FrameBorderSize = 1;
  s.FrameRounding = 4 * style.scale;
  s.FramePadding = {8 * style.scale, 6 * style.scale};
  s.ItemSpacing = {0, 0};
  s.ScrollbarSize = 8 * style.scale;
  s.ScrollbarRounding = 4 * style.scale;
  s.AntiAliasedLinesUseTex = true;
  const auto set = [&](ImGuiCol which, ImU32 colour) { s.Colors[which] = ImGui::ColorConvertU32ToFloat4(colour); };
  set(ImGuiCol_Text, c.ink);
  set(ImGuiCol_TextDisabled, c.muted);
  set(ImGuiCol_WindowBg, c.ground);
  set(ImGuiCol_ChildBg, 0);
  set(ImGuiCol_PopupBg, c.ground);
  set(ImGuiCol_Border, c.edge);
  set(ImGuiCol_FrameBg, c.ground);
  set(ImGuiCol_FrameBgHovered, c.ground);
  set(ImGuiCol_FrameBgActive, c.ground);
  set(ImGuiCol_TextSelectedBg, (c.act & 0x00FFFFFF) | 0x50000000);
  set(ImGuiCol_ScrollbarBg, 0);
  set(ImGuiCol_ScrollbarGrab, c.hairline);
  set(ImGuiCol_ScrollbarGrabHovered, c.muted);
  set(ImGuiCol_ScrollbarGrabActive, c.muted);
  set(ImGuiCol_NavHighlight, c.act);
}

}  // namespace uroko::gui
