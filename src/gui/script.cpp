#include "gui/script.h"

#include <GLFW/glfw3.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/imgproc.hpp>

#include "uroko/base/error.h"
#include "uroko/base/file.h"
#include "uroko/base/text.h"
#include "uroko/photo/photo.h"

namespace uroko::gui {

namespace {

std::string environment(const char* name) {
  const char* value = std::getenv(name);
  return value ? value : "";
}

nlohmann::json desk_json(const app::Desk& desk) {
  const auto& now = desk.history.now();
  nlohmann::json j = {{"file", desk.file.string()},
                      {"in_book", desk.place.photo != 0},
                      {"whole", desk.loaded_whole()},
                      {"tool", desk.tool ? app::about(desk.tool->id()).name : ""},
                      {"scale", now.map ? scale::name(now.map->kind) : ""},
                      {"margin", now.margin ? to_wkt(now.margin->outline, 2) : ""},
                      {"unsaved", desk.unsaved()},
                      {"view", {{"zoom", desk.view.zoom}, {"turn_deg", desk.view.turn_deg}, {"x", desk.view.centre.x}, {"y", desk.view.centre.y}, {"width", desk.view.width}, {"height", desk.view.height}}}};
  if (desk.measurement && desk.measured == desk.generation) j["area_mm2"] = desk.measurement->area_mm2.value;
  for (const auto* refusal : {&desk.scale_refusal, &desk.margin_refusal, &desk.measure_refusal})
    if (*refusal) j["refused"].push_back((*refusal)->text);
  return j;
}

/// What the open form says is wrong.
std::string fault_of(const app::Session& s) {
  if (s.path_form) return s.path_form->fault.text;
  if (s.log_form) return s.log_form->fault.text;
  if (s.fish_form) return s.fish_form->fault.text;
  if (s.wound_form) return s.wound_form->fault.text;
  if (s.visit_form) return s.visit_form->fault.text;
  if (s.import_form) return s.import_form->fault.text;
  return s.scale_form ? s.scale_form->fault.text : "";
}

}  // namespace

cv::Mat read_back(int width, int height) {
  cv::Mat rgb(height, width, CV_8UC3), bgr;
  glPixelStorei(GL_PACK_ALIGNMENT, 1);
  glReadPixels(0, 0, width, height, GL_RGB, GL_UNSIGNED_BYTE, rgb.data);
  cv::cvtColor(rgb, bgr, cv::COLOR_RGB2BGR);
  cv::flip(bgr, bgr, 0);
  return bgr;
}

Script::Script() : shot_(environment("UROKO_SCREENSHOT")), state_(environment("UROKO_STATE")) {
  for (auto& id : split(environment("UROKO_RUN"), ','))
    if (!id.empty()) run_.push_back(id);
}

void Script::write_state(const app::Session& session, const Frame& frame, bool busy) {
  static constexpr const char* kSteps[] = {"scale", "margin", "compare"};
  const auto& io = ImGui::GetIO();
  nlohmann::json j = {{"settled", !busy},
                      {"idle", !busy && session.idle()},
                      {"book", session.book.path.string()},
                      {"step", kSteps[static_cast<int>(session.step)]},
                      {"pointer", {io.MousePos.x, io.MousePos.y}},
                      {"held", io.MouseDown[0]},
                      {"typing", io.WantTextInput},
                      {"commands_open", session.palette.open},
                      {"asking", session.path_form && session.path_form->asking},
                      {"log", session.series().events.size()},
                      {"undo", session.undo_label().value_or("")},
                      {"redo", session.redo_label().value_or("")},
                      {"fields", frame.fields()},
                      {"focus", frame.focus()},
                      {"fault", fault_of(session)}};
  for (const auto& [name, b] : frame.places()) j["widgets"][name] = {b.x, b.y, b.w, b.h};
  if (session.saving()) j["saving"] = *session.saving();
  if (session.opening) j["opening"] = session.opening->string();
  for (const auto& n : session.not_saved) j["not_saved"].push_back(n.text);
  for (const auto& n : session.notices) j["notices"].push_back(n.text);
  if (session.desk) j["desk"] = desk_json(*session.desk);
  const auto text = j.dump();
  if (text == written_) return;
  written_ = text;
  // Renamed into place, so that a reader never sees half of it; nothing here must survive a power cut, so there is no fsync.
  const std::string part = state_ + ".part";
  std::ofstream(part, std::ios::binary) << text;
  std::filesystem::rename(part, state_);
}

bool Script::turn(app::Session& session, const Frame& frame, bool busy, int width, int height) {
  if (!state_.empty()) write_state(session, frame, busy);
  if (shot_.empty()) return false;
  quiet_ = busy || !session.idle() ? 0 : quiet_ + 1;
  if (quiet_ < 4) return false;
  if (!run_.empty()) {
    const auto id = run_.front();
    run_.erase(run_.begin());
    if (!session.run(id)) throw Error(Fault::usage, "no-command", {}, "the command " + id + " is not there or cannot be used now", "see uroko's list of commands");
    quiet_ = 0;
    return false;
  }
  write_file_whole(shot_, photo::encode_png(read_back(width, height)));
  return true;
}

}  // namespace uroko::gui
