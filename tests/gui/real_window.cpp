#include "gui/real_window.h"

#include <signal.h>
#include <sys/wait.h>

#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <stdexcept>
#include <thread>

#include "support/command.h"
#include "support/sanitized.h"
#include "uroko/app/view.h"

namespace uroko::testing {

constexpr double kPatience = sanitized ? 6 : 1;

namespace fs = std::filesystem;
using namespace std::chrono_literals;

std::string RealWindow::missing() {
  for (const char* program : {"Xvfb", "xdotool"})
    if (!program_is_installed(program)) return std::string(program) + " is not installed";
  return {};
}

RealWindow::RealWindow(std::vector<std::string> arguments, int width, int height)
    : screen_(width, height), display_("DISPLAY=" + screen_.display()), size_("UROKO_SIZE=" + std::to_string(width) + "x" + std::to_string(height)) {
  fs::create_directories(home());
  start_again(std::move(arguments));
}

void RealWindow::start_again(std::vector<std::string> arguments) {
  fs::remove(folder_ / "state.json");
  state_ = nullptr;
  arguments.insert(arguments.begin(), UROKO_COMMAND);
  // No session bus and no dialog programs: the typed path is the way in, on every machine the same.
  program_ = start(arguments,
                   {display_, "HOME=" + home().string(), "XDG_CONFIG_HOME=" + (home() / ".config").string(), "XDG_STATE_HOME=" + (home() / ".local/state").string(),
                    "DBUS_SESSION_BUS_ADDRESS=unix:path=/nonexistent", "PATH=/nonexistent", "UROKO_STATE=" + (folder_ / "state.json").string(), size_, "LIBGL_ALWAYS_SOFTWARE=1"},
                   folder_ / "program.txt");
  wait("the first frame", [](const auto& s) { return s.contains("idle"); });
}

RealWindow::~RealWindow() { stop(program_); }

void RealWindow::read_state() {
  if (std::ifstream in(folder_ / "state.json"); in) {
    const auto read = nlohmann::json::parse(in, nullptr, false);
    if (read.is_object()) state_ = read;
  }
}

bool RealWindow::killed(double seconds) {
  const int code = wait_for_end(program_, kPatience * seconds);
  if (code != -1) program_ = 0;
  read_state();
  return code == 128 + SIGKILL;
}

const nlohmann::json& RealWindow::wait(const std::string& what, const std::function<bool(const nlohmann::json&)>& is_so, double seconds) {
  const auto end = std::chrono::steady_clock::now() + std::chrono::duration<double>(kPatience * seconds);
  for (;;) {
    read_state();
    if (!state_.is_null() && is_so(state_)) {
      static const bool told = std::getenv("UROKO_STEPS") != nullptr;
      if (told && what.rfind("the pointer", 0) != 0 && what.rfind("the button", 0) != 0)
        std::printf("%6.2f s  %s\n", std::chrono::duration<double>(std::chrono::steady_clock::now() - started_).count(), what.c_str());
      return state_;
    }
    int status = 0;
    const bool gone = ::waitpid(program_, &status, WNOHANG) == program_;
    if (gone || std::chrono::steady_clock::now() > end) {
      if (gone) program_ = 0;
      std::ifstream said(folder_ / "program.txt");
      auto shown = state_;
      if (shown.is_object()) shown.erase("widgets");
      if (shown.contains("desk")) shown["desk"].erase("margin");
      throw std::runtime_error("waited for " + what + (gone ? "; the program ended" : "") + "; said: " + std::string(std::istreambuf_iterator<char>(said), {}) + "; shown: " + shown.dump().substr(0, 3000));
    }
    std::this_thread::sleep_for(4ms);
  }
}

void RealWindow::xdotool(std::vector<std::string> arguments) {
  arguments.insert(arguments.begin(), "xdotool");
  const auto ran = run(arguments, "", {display_});
  if (ran.exit_code != 0) throw std::runtime_error("xdotool failed: " + ran.err);
}

void RealWindow::move(double x, double y) {
  const int px = static_cast<int>(std::lround(x)), py = static_cast<int>(std::lround(y));
  xdotool({"mousemove", std::to_string(px), std::to_string(py)});
  wait("the pointer there", [&](const auto& s) { return std::abs(s.at("pointer")[0].template get<double>() - px) < 0.6 && std::abs(s.at("pointer")[1].template get<double>() - py) < 0.6; });
}

void RealWindow::button(bool down) {
  xdotool({down ? "mousedown" : "mouseup", "1"});
  wait(down ? "the button down" : "the button up", [&](const auto& s) { return s.at("held") == down; });
}

void RealWindow::press(const std::string& widget) {
  // Settled: what was drawn last is what is there now, so the widget will not move under the pointer.
  wait("the widget " + widget, [&](const auto& s) { return s.at("settled") == true && s.contains("widgets") && s["widgets"].contains(widget); });
  const auto b = state_["widgets"][widget];
  move(b[0].get<double>() + b[2].get<double>() / 2, b[1].get<double>() + b[3].get<double>() / 2);
  button(true);
  button(false);
}

void RealWindow::type(const std::string& field, const std::string& text) {
  press(field);
  wait("the keyboard in " + field, [&](const auto& s) { return s.at("focus") == field && s.at("typing") == true; });
  xdotool({"keydown", "ctrl", "keydown", "a"});
  const auto b = state_["widgets"][field];
  move(b[0].get<double>() + b[2].get<double>() / 3, b[1].get<double>() + b[3].get<double>() / 2);  // a frame passes: ImGui 1.86 does not see a key that is up again within one
  xdotool({"keyup", "a", "keyup", "ctrl"});
  xdotool({"type", "--delay", "2", text});
  wait("the text in " + field, [&](const auto& s) { return s.at("fields").contains(field) && s["fields"][field] == text; });
}

void RealWindow::drag_photo(const std::vector<ImagePoint>& path) {
  wait("the photo", [](const auto& s) { return s.at("settled") == true && s.contains("desk") && s["widgets"].contains("photo"); });
  const auto box = state_["widgets"]["photo"], v = state_["desk"]["view"];
  app::View view;
  view.width = v["width"], view.height = v["height"], view.zoom = v["zoom"], view.turn_deg = v["turn_deg"], view.centre = {v["x"], v["y"]};
  bool down = false;
  for (const auto& p : path) {
    const auto s = view.to_screen(p);
    move(box[0].get<double>() + s.x, box[1].get<double>() + s.y);
    if (!down) button(down = true);
  }
  button(false);
}

int RealWindow::quit(double seconds) {
  key("ctrl+q");
  const int code = wait_for_end(program_, kPatience * seconds);
  if (code != -1) program_ = 0;
  return code;
}

}  // namespace uroko::testing
