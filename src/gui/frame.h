#pragma once
#include "gui/panels.h"

namespace uroko::gui {

/// What lives between frames on the gui's side, for a window and for the harness alike.
class Frame {
 public:
  explicit Frame(app::Session& session, Textures& textures) : session_(session), textures_(textures) {}

  /// One frame inside NewFrame .. Render: draws, then applies what was asked. True when another frame should follow soon.
  bool draw(const Style& style, float width, float height);
  /// A key that no text field took. `typing`: a text field has the keyboard.
  void key(const app::KeyPress& press, bool typing);

  const std::map<std::string, Box>& places() const { return places_; }
  /// What the text fields of the last frame held, by name, and the one that has the keyboard.
  const std::map<std::string, std::string>& fields() const { return fields_; }
  const std::string& focus() const { return focus_; }

 private:
  app::Session& session_;
  Textures& textures_;
  std::map<std::string, Box> places_;
  std::map<std::string, std::string> fields_;
  std::string focus_;
  EnterField enter_field_;
  KeptChart kept_chart_;
  app::Intents intents_;
};

}  // namespace uroko::gui
