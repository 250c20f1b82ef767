#pragma once
#include <filesystem>
#include <utility>
#include <vector>

#include "gui/frame.h"
#include "gui/script.h"

struct GLFWwindow;

namespace uroko::gui {

/// The desktop window with its OpenGL context and ImGui: draws a session. One at a time.
class LiveWindow {
 public:
  /// Sizes in screen pixels; 0: UROKO_SIZE (such as 1280x800), else 1600 x 1000 or what the display has room for.
  /// Throws Error(Fault::usage, "no-display" or "no-opengl").
  explicit LiveWindow(int width = 0, int height = 0);
  LiveWindow(const LiveWindow&) = delete;
  LiveWindow& operator=(const LiveWindow&) = delete;
  ~LiveWindow();

  /// Until it is closed: draws when something happened and sleeps otherwise.
  void run(app::Session& session);
  /// One frame, shown. True when another should follow at once. `script` may be null.
  bool draw(app::Session& session, Frame& frame, GlTextures& textures, Script* script = nullptr);
  /// A frame of the bare ground: what the display itself costs.
  void draw_empty();
  /// Frames until nothing is left to do or to upload, and the picture of the last.
  cv::Mat picture(app::Session& session, Frame& frame, GlTextures& textures);
  GLFWwindow* handle() { return window_; }

  /// What came from the desktop since the last frame.
  struct Events {
    std::vector<app::KeyPress> keys;
    std::vector<std::pair<int, int>> strokes;  ///< key and modifiers, pressed since the last frame
    std::vector<int> let_go;                   ///< keys shown to ImGui that were up again before the frame
    std::vector<std::filesystem::path> dropped;
    int frames = 3;  ///< to draw before sleeping again: ImGui settles in two or three
  };

 private:
  void show_quick_keys();

  GLFWwindow* window_ = nullptr;
  Events events_;
  Style style_;
  cv::Mat* wanted_ = nullptr;
};

}  // namespace uroko::gui
