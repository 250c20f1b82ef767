#pragma once
#include <chrono>
#include <filesystem>
#include <functional>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "support/screen.h"
#include "support/temp_folder.h"
#include "uroko/geometry/points.h"

namespace uroko::testing {

/// The program as people start it, in its own X server (Xvfb) with an empty home, driven by real mouse and keys (xdotool). What is shown is
/// read from the file that UROKO_STATE names; every step waits for what it wants to see there, never for a time. With UROKO_STEPS=1 in the
/// environment each step is printed with the seconds since the start.
class RealWindow {
 public:
  /// Why it cannot be run on this machine; empty when it can.
  static std::string missing();

  explicit RealWindow(std::vector<std::string> arguments = {}, int width = 1280, int height = 800);
  RealWindow(const RealWindow&) = delete;
  RealWindow& operator=(const RealWindow&) = delete;
  ~RealWindow();

  std::filesystem::path home() const { return folder_ / "home"; }
  const nlohmann::json& state() const { return state_; }
  /// Reads the state until `is_so`; throws after `seconds`, saying what was wanted and what is shown.
  const nlohmann::json& wait(const std::string& what, const std::function<bool(const nlohmann::json&)>& is_so, double seconds = 30);
  void wait_idle() { wait("nothing left to do", [](const nlohmann::json& s) { return s.at("idle") == true; }); }

  void press(const std::string& widget);
  void key(const std::string& name) { xdotool({"key", name}); }  ///< as xdotool names it: "ctrl+z"
  /// Clicks into the field, replaces what it holds, and waits until it holds that.
  void type(const std::string& field, const std::string& text);
  void drag_photo(const std::vector<ImagePoint>& path);  ///< photo pixels
  /// Waits for the program's own end; its exit code, -1 when it had to be ended.
  int quit(double seconds = 10);

  pid_t process() const { return program_; }
  /// Waits until it was killed, and reads what it showed last. False: it was not, or not by SIGKILL.
  bool killed(double seconds = 30);
  /// The program anew with the same home, once it has ended.
  void start_again(std::vector<std::string> arguments = {});

 private:
  void xdotool(std::vector<std::string> arguments);
  void move(double x, double y);
  void button(bool down);

  void read_state();

  TempFolder folder_;
  Screen screen_;
  std::string display_, size_;  ///< as the environment says them
  pid_t program_ = 0;
  std::chrono::steady_clock::time_point started_ = std::chrono::steady_clock::now();
  nlohmann::json state_;
};

}  // namespace uroko::testing
