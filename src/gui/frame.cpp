#include "gui/frame.h"

#include <algorithm>

namespace uroko::gui {

void draw_window(Ui& ui, float width, float height) {
  const auto& s = ui.session;
  const auto px = [&](double v) { return ui.px(v); };
  ImGui::SetNextWindowPos({0, 0});
  ImGui::SetNextWindowSize({width, height});
  ImGui::Begin("window", nullptr, ImGuiWindowFlags_NoDecoration | ImGuiWindowFlags_NoMove | ImGuiWindowFlags_NoSavedSettings | ImGuiWindowFlags_NoBringToFrontOnFocus | ImGuiWindowFlags_NoNav | ImGuiWindowFlags_NoScrollWithMouse);
  ui.draw = ImGui::GetWindowDrawList();
  ui.fill({0, 0, width, height}, ui.c().ground);

  const float top = px(48);
  const Box all{0, 0, width, height};
  const bool wide = width / ui.style.scale >= 1360, tall = height / ui.style.scale >= 600;
  if (wide != s.room.wide || tall != s.room.tall) ui.intents.add([=](app::Session& session) { session.room = {wide, tall}; });
  const bool list = s.list_visible();
  const float list_w = list ? px(232) : 0;
  const bool form = s.path_form || s.log_form || s.dose_form || s.fish_form || s.wound_form || s.visit_form || s.import_form || s.settings_open;
  const bool right = s.desk || form;
  const float right_w = right ? std::min(px(wide ? 328 : 300), width * 0.5f) : 0;
  const bool bank = s.has_book();
  const float bank_h = !bank ? 0 : s.bank_folded() ? px(36) : std::min(px(height / ui.style.scale >= 900 ? 316 : 252), height * 0.42f);
  draw_top_bar(ui, {0, 0, width, top});
  const Box middle{list_w, top, width - list_w - right_w, height - top - bank_h};
  if (list) draw_fish_list(ui, {0, top, list_w, height - top});
  if (s.step == app::Step::compare && s.current_wound())
    draw_compare(ui, middle);
  else if (s.desk)
    draw_photo(ui, middle);
  else
    draw_start(ui, middle);
  draw_notices(ui, middle);
  if (right) {
    const Box box{width - right_w, top, right_w, height - top};  // its whole height: what answers is read without scrolling
    if (!draw_form(ui, box)) draw_result(ui, box);
  }
  if (bank) draw_bank(ui, {list_w, height - bank_h, middle.w, bank_h});
  ImGui::End();
  draw_guide(ui, all);
  draw_tour(ui, all);
  draw_palette(ui, all);
  draw_leaving(ui, all);
}

bool Frame::draw(const Style& style, float width, float height) {
  places_.clear();
  fields_.clear();
  focus_.clear();
  Ui ui{session_, intents_, style, textures_, places_, fields_, focus_, enter_field_, kept_chart_};
  ui.time = ImGui::GetTime();
  draw_window(ui, width, height);
  const bool asked = !intents_.empty();
  intents_.apply(session_);
  const bool came = session_.turn();
  return ui.again || asked || came;
}

void Frame::key(const app::KeyPress& press, bool typing) {
  auto& p = session_.palette;
  if (p.open && (press.key == "Down" || press.key == "Up")) {
    const int n = static_cast<int>(app::matching_commands(p.text).size());
    p.at = std::clamp(p.at + (press.key == "Down" ? 1 : -1), 0, std::max(0, n - 1));
    return;
  }
  if (typing || p.open) {
    if (press.key == "Enter" && !p.open) {
      session_.confirm_form();
      return;
    }
    const bool editing = press.ctrl && (press.key == "A" || press.key == "C" || press.key == "V" || press.key == "X" || press.key == "Z" || press.key == "Y" || press.key == "Delete");
    if (press.key != "Escape" && (!press.ctrl || editing)) return;
  }
  session_.key(press);
}

}  // namespace uroko::gui
