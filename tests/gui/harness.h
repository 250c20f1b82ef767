#pragma once
#include <imgui.h>

#include <cctype>
#include <stdexcept>
#include <string>

#include "gui/frame.h"
#include "support/temp_folder.h"

namespace uroko::testing {

/// The whole window without a window: ImGui lays out and takes the mouse and the keys; widgets are pressed by name where they stand.
class Harness {
 public:
  explicit Harness(const std::filesystem::path& folder, float width = 1600, float height = 1000)
      : session(app::Places{folder / "config" / "settings.json", folder / "state" / "unfinished.json", {}}), frame_(session, textures_), width_(width), height_(height) {
    context_ = ImGui::CreateContext();
    auto& io = ImGui::GetIO();
    io.IniFilename = nullptr;
    io.LogFilename = nullptr;
    io.BackendFlags |= ImGuiBackendFlags_RendererHasVtxOffset;  // as the OpenGL back end says
    style_.fonts = gui::load_fonts(*io.Fonts, 1);
    unsigned char* pixels;
    int w, h;
    io.Fonts->GetTexDataAsRGBA32(&pixels, &w, &h);
    io.KeyMap[ImGuiKey_A] = 'A';
    io.KeyMap[ImGuiKey_Enter] = 13;
    io.KeyMap[ImGuiKey_Backspace] = 8;
    io.KeyMap[ImGuiKey_Delete] = 127;
    gui::apply_style(style_);
    frames(3);
  }
  ~Harness() { ImGui::DestroyContext(context_); }

  void frames(int n = 1) {
    for (int i = 0; i < n; ++i) {
      auto& io = ImGui::GetIO();
      io.DisplaySize = {width_, height_};
      io.DeltaTime = 1 / 60.f;
      if (session.settings.theme != style_.theme) {
        style_.theme = session.settings.theme;
        gui::apply_style(style_);
      }
      ImGui::NewFrame();
      for (const auto& key : keys_) frame_.key(key, io.WantTextInput);
      keys_.clear();
      frame_.draw(style_, width_, height_);
      ImGui::Render();
    }
  }
  /// Until no job is left, then the frames that show it.
  void settle() {
    for (int i = 0; i < 4; ++i) {
      if (!session.settle(120)) throw std::runtime_error("jobs did not end in 120 s");
      frames(2);
    }
  }
  bool has(const std::string& name) const { return frame_.places().count(name) > 0; }
  gui::Box place(const std::string& name) const {
    const auto found = frame_.places().find(name);
    if (found == frame_.places().end()) throw std::runtime_error("no widget named " + name + " is on the screen");
    return found->second;
  }
  void click_at(float x, float y, int button = 0) {
    move(x, y);
    ImGui::GetIO().MouseDown[button] = true;
    frames(1);
    ImGui::GetIO().MouseDown[button] = false;
    frames(2);
    for (int i = 0; i < 20; ++i) frames(1);  // past the double-click time
  }
  void press(const std::string& name) {
    const auto b = place(name);
    click_at(b.x + b.w / 2, b.y + b.h / 2);
  }
  void move(float x, float y) {
    ImGui::GetIO().MousePos = {x, y};
    frames(1);
  }
  /// A drag through photo pixels on the desk.
  void drag(const std::vector<ImagePoint>& path) {
    const auto box = place("photo");
    bool down = false;
    for (const auto& p : path) {
      const auto s = session.desk->view.to_screen(p);
      move(box.x + static_cast<float>(s.x), box.y + static_cast<float>(s.y));
      if (!down) ImGui::GetIO().MouseDown[0] = down = true;
      frames(1);
    }
    ImGui::GetIO().MouseDown[0] = false;
    frames(2);
  }
  void click_photo(const ImagePoint& p) {
    const auto box = place("photo");
    const auto s = session.desk->view.to_screen(p);
    click_at(box.x + static_cast<float>(s.x), box.y + static_cast<float>(s.y));
  }
  void key(const std::string& key, bool ctrl = false, bool shift = false) {
    keys_.push_back({key, ctrl, shift, false});
    frames(2);
  }
  /// Replaces what stands in a text field.
  void type(const std::string& field, const std::string& text) {
    press(field);
    auto& io = ImGui::GetIO();
    io.KeyCtrl = true;
    io.KeyMods = ImGuiKeyModFlags_Ctrl;
    io.KeysDown['A'] = true;
    frames(1);
    io.KeysDown['A'] = false;
    io.KeyCtrl = false;
    io.KeyMods = 0;
    frames(1);
    if (text.empty()) {
      io.KeysDown[8] = true;
      frames(1);
      io.KeysDown[8] = false;
    }
    for (const char* c = text.c_str(); *c;) {
      unsigned code = 0;
      c += ImTextCharLength(c, &code);
      io.AddInputCharacter(code);
    }
    frames(2);
  }

  app::Session session;

 private:
  static int ImTextCharLength(const char* c, unsigned* out) {
    const auto u = static_cast<unsigned char>(*c);
    const int n = u < 0x80 ? 1 : u < 0xE0 ? 2 : u < 0xF0 ? 3 : 4;
    *out = n == 1 ? u : u & (0xFF >> (n + 1));
    for (int i = 1; i < n; ++i) *out = *out << 6 | (static_cast<unsigned char>(c[i]) & 0x3F);
    return n;
  }
  gui::NoTextures textures_;
  gui::Frame frame_;
  gui::Style style_;
  float width_, height_;
  ImGuiContext* context_ = nullptr;
  std::vector<app::KeyPress> keys_;
};

}  // namespace uroko::testing
