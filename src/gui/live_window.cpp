#include "gui/live_window.h"

#include <GLFW/glfw3.h>
#include <backends/imgui_impl_glfw.h>
#include <backends/imgui_impl_opengl3.h>

#include <algorithm>
#include <atomic>
#include <cctype>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <utility>

#include "uroko/base/error.h"
#include "uroko/gui/window.h"

namespace uroko::gui {

namespace {

using Events = LiveWindow::Events;
Events& events(GLFWwindow* window) { return *static_cast<Events*>(glfwGetWindowUserPointer(window)); }

/// The name of a key that types no character; empty for the others.
std::string named(int key) {
  if (key >= GLFW_KEY_F1 && key <= GLFW_KEY_F12) return "F" + std::to_string(key - GLFW_KEY_F1 + 1);
  switch (key) {
    case GLFW_KEY_ENTER:
    case GLFW_KEY_KP_ENTER: return "Enter";
    case GLFW_KEY_ESCAPE: return "Escape";
    case GLFW_KEY_DELETE: return "Delete";
    case GLFW_KEY_BACKSPACE: return "Backspace";
    case GLFW_KEY_LEFT: return "Left";
    case GLFW_KEY_RIGHT: return "Right";
    case GLFW_KEY_UP: return "Up";
    case GLFW_KEY_DOWN: return "Down";
    case GLFW_KEY_PAGE_UP: return "PageUp";
    case GLFW_KEY_PAGE_DOWN: return "PageDown";
    case GLFW_KEY_HOME: return "Home";
    case GLFW_KEY_END: return "End";
    case GLFW_KEY_TAB: return "Tab";
    default: return {};
  }
}

void on_key(GLFWwindow* window, int key, int scancode, int action, int mods) {
  auto& e = events(window);
  e.frames = 3;
  if (action == GLFW_RELEASE) return;
  if (action == GLFW_PRESS && key >= 0) e.strokes.emplace_back(key, mods);
  app::KeyPress press;
  press.ctrl = mods & GLFW_MOD_CONTROL;
  press.shift = mods & GLFW_MOD_SHIFT;
  press.alt = mods & GLFW_MOD_ALT;
  press.key = named(key);
  if (press.key.empty()) {
    if (!press.ctrl && !press.alt) return;  // plain characters come through on_char
    // By the character that the key types on this layout, not by its place.
    const char* typed = glfwGetKeyName(key, scancode);
    if (!typed) return;
    press.key = typed;
    if (press.key.size() == 1) press.key[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(press.key[0])));
  }
  e.keys.push_back(press);
}

void on_char(GLFWwindow* window, unsigned code) {
  auto& e = events(window);
  e.frames = 3;
  if (code < 0x21 || code > 0x7E) return;
  const char c = static_cast<char>(code);
  app::KeyPress press;
  press.key = std::string(1, static_cast<char>(std::toupper(static_cast<unsigned char>(c))));
  press.shift = std::isupper(static_cast<unsigned char>(c));
  e.keys.push_back(press);
}

void install(GLFWwindow* window) {
  glfwSetKeyCallback(window, on_key);
  glfwSetCharCallback(window, on_char);
  glfwSetMouseButtonCallback(window, [](GLFWwindow* w, int, int, int) { events(w).frames = 4; });
  glfwSetCursorPosCallback(window, [](GLFWwindow* w, double, double) { events(w).frames = std::max(events(w).frames, 2); });
  glfwSetScrollCallback(window, [](GLFWwindow* w, double, double) { events(w).frames = 3; });
  glfwSetFramebufferSizeCallback(window, [](GLFWwindow* w, int, int) { events(w).frames = 3; });
  glfwSetWindowRefreshCallback(window, [](GLFWwindow* w) { events(w).frames = 3; });
  glfwSetWindowFocusCallback(window, [](GLFWwindow* w, int) { events(w).frames = 3; });
  glfwSetDropCallback(window, [](GLFWwindow* w, int count, const char** paths) {
    for (int i = 0; i < count; ++i) events(w).dropped.emplace_back(paths[i]);
    events(w).frames = 3;
  });
}

}  // namespace

/// ImGui 1.86 reads which keys are down at a frame: one pressed and let go between two frames (a slow screen, a quick hand) would be lost. It
/// is shown down for one frame, with its modifiers; a second stroke of the same key waits for a later frame.
void LiveWindow::show_quick_keys() {
  auto* window = window_;
  auto& e = events_;
  auto& io = ImGui::GetIO();
  const auto down = [&](int left, int right) { return glfwGetKey(window, left) == GLFW_PRESS || glfwGetKey(window, right) == GLFW_PRESS; };
  const auto released = std::exchange(e.let_go, {});
  for (const int key : released)
    if (glfwGetKey(window, key) != GLFW_PRESS) io.KeysDown[key] = false;
  io.KeyCtrl = down(GLFW_KEY_LEFT_CONTROL, GLFW_KEY_RIGHT_CONTROL);
  io.KeyShift = down(GLFW_KEY_LEFT_SHIFT, GLFW_KEY_RIGHT_SHIFT);
  io.KeyAlt = down(GLFW_KEY_LEFT_ALT, GLFW_KEY_RIGHT_ALT);
  std::vector<std::pair<int, int>> later;
  for (const auto& [key, mods] : std::exchange(e.strokes, {})) {
    const bool shown = std::find(e.let_go.begin(), e.let_go.end(), key) != e.let_go.end() || std::find(released.begin(), released.end(), key) != released.end();
    if (shown) {
      later.emplace_back(key, mods);
      continue;
    }
    if (glfwGetKey(window, key) == GLFW_PRESS) continue;
    io.KeysDown[key] = true;
    io.KeyCtrl |= (mods & GLFW_MOD_CONTROL) != 0;
    io.KeyShift |= (mods & GLFW_MOD_SHIFT) != 0;
    io.KeyAlt |= (mods & GLFW_MOD_ALT) != 0;
    e.let_go.push_back(key);
  }
  e.strokes = std::move(later);
  if (!e.let_go.empty()) e.frames = std::max(e.frames, 3);
}

LiveWindow::LiveWindow(int width, int height) {
  glfwSetErrorCallback([](int, const char*) {});
  if (!glfwInit()) throw Error(Fault::usage, "no-display", {}, "there is no display to open a window on", "run it in a desktop session, or use the command line (uroko --help)");
  glfwWindowHint(GLFW_CONTEXT_VERSION_MAJOR, 3);
  glfwWindowHint(GLFW_CONTEXT_VERSION_MINOR, 2);
  glfwWindowHint(GLFW_OPENGL_PROFILE, GLFW_OPENGL_CORE_PROFILE);
  glfwWindowHintString(GLFW_X11_CLASS_NAME, "uroko");
  if (width <= 0 || height <= 0) {
    width = 1600, height = 1000;
    if (const char* size = std::getenv("UROKO_SIZE"); size && *size) {
      std::sscanf(size, "%dx%d", &width, &height);
    } else if (auto* monitor = glfwGetPrimaryMonitor()) {
      int x, y, w, h;
      glfwGetMonitorWorkarea(monitor, &x, &y, &w, &h);
      if (w > 0 && h > 0) {
        width = std::min(width, w);
        height = std::min(height, h);
      }
    }
  }
  window_ = glfwCreateWindow(width, height, "uroko", nullptr, nullptr);
  if (!window_) {
    glfwTerminate();
    throw Error(Fault::usage, "no-opengl", {}, "the display gives no OpenGL 3.2", "install libgl1-mesa-dri, or use the command line (uroko --help)");
  }
  glfwMakeContextCurrent(window_);
  glfwSwapInterval(1);
  glfwSetWindowSizeLimits(window_, 640, 480, GLFW_DONT_CARE, GLFW_DONT_CARE);
  ImGui::CreateContext();
  ImGui::GetIO().IniFilename = nullptr;
  ImGui::GetIO().ConfigInputTextCursorBlink = true;
  glfwSetWindowUserPointer(window_, &events_);
  install(window_);
  ImGui_ImplGlfw_InitForOpenGL(window_, true);  // chains to the callbacks above
  ImGui_ImplOpenGL3_Init("#version 150");
}
LiveWindow::~LiveWindow() {
  ImGui_ImplOpenGL3_Shutdown();
  ImGui_ImplGlfw_Shutdown();
  ImGui::DestroyContext();
  glfwDestroyWindow(window_);
  glfwTerminate();
}

void LiveWindow::run(app::Session& session) {
  std::atomic<bool> woken{false};
  session.set_wake([&] {
    woken = true;
    glfwPostEmptyEvent();
  });
  GlTextures textures;
  Frame frame(session, textures);
  Script script;
  bool more = true;
  while (!session.quit) {
    if (glfwWindowShouldClose(window_)) {
      glfwSetWindowShouldClose(window_, GLFW_FALSE);
      session.leave();
      events_.frames = 3;
    }
    const bool typing = ImGui::GetIO().WantTextInput;
    if (events_.frames <= 0 && !more) glfwWaitEventsTimeout(typing || !session.idle() ? 0.25 : script.shooting() ? 0.05 : 2.0);
    else glfwPollEvents();
    session.watch();
    const bool due = events_.frames > 0 || more || typing || woken.exchange(false) || !session.idle() || script.shooting();
    if (!due) continue;
    if (events_.frames > 0) --events_.frames;
    more = draw(session, frame, textures, &script);
  }
  session.set_wake(nullptr);
}

bool LiveWindow::draw(app::Session& session, Frame& frame, GlTextures& textures, Script* script) {
  float display = 1, ignored = 1;
  glfwGetWindowContentScale(window_, &display, &ignored);
  const float scale = session.settings.scale_percent ? static_cast<float>(session.settings.scale_percent) / 100 : std::max(0.75f, std::min(3.f, display));
  if (!style_.fonts.body || scale != style_.scale || session.settings.theme != style_.theme) {
    const bool fonts = !style_.fonts.body || scale != style_.scale;
    style_.scale = scale;
    style_.theme = session.settings.theme;
    if (fonts) {
      style_.fonts = load_fonts(*ImGui::GetIO().Fonts, scale);
      ImGui_ImplOpenGL3_DestroyFontsTexture();
      ImGui_ImplOpenGL3_CreateFontsTexture();
    }
    apply_style(style_);
  }
  auto keys = std::move(events_.keys);
  events_.keys.clear();
  if (!events_.dropped.empty()) {
    session.drop_files(events_.dropped);
    events_.dropped.clear();
  }
  ImGui_ImplOpenGL3_NewFrame();
  ImGui_ImplGlfw_NewFrame();
  show_quick_keys();
  ImGui::NewFrame();
  const bool typing = ImGui::GetIO().WantTextInput;
  for (const auto& key : keys) frame.key(key, typing);
  textures.begin_frame();
  int width = 0, height = 0;
  glfwGetFramebufferSize(window_, &width, &height);
  bool more = frame.draw(style_, static_cast<float>(width), static_cast<float>(height)) || textures.wants_more();
  ImGui::Render();
  glViewport(0, 0, width, height);
  glClearColor(0.1f, 0.1f, 0.1f, 1);
  glClear(GL_COLOR_BUFFER_BIT);
  ImGui_ImplOpenGL3_RenderDrawData(ImGui::GetDrawData());
  if (wanted_) *wanted_ = read_back(width, height);
  if (script && script->turn(session, frame, more, width, height)) session.quit = true;
  glfwSwapBuffers(window_);
  return more || !keys.empty();
}

cv::Mat LiveWindow::picture(app::Session& session, Frame& frame, GlTextures& textures) {
  for (int quiet = 0; quiet < 4;) {
    glfwPollEvents();
    quiet = draw(session, frame, textures) || !session.idle() ? 0 : quiet + 1;
  }
  cv::Mat out;
  wanted_ = &out;
  draw(session, frame, textures);
  wanted_ = nullptr;
  return out;
}

void LiveWindow::draw_empty() {
  ImGui_ImplOpenGL3_NewFrame();
  ImGui_ImplGlfw_NewFrame();
  ImGui::NewFrame();
  ImGui::Render();
  int width = 0, height = 0;
  glfwGetFramebufferSize(window_, &width, &height);
  glViewport(0, 0, width, height);
  glClearColor(0.1f, 0.1f, 0.1f, 1);
  glClear(GL_COLOR_BUFFER_BIT);
  ImGui_ImplOpenGL3_RenderDrawData(ImGui::GetDrawData());
  glfwSwapBuffers(window_);
}

int open_window(const std::filesystem::path& book) {
  LiveWindow window;
  app::Session session;
  if (!book.empty())
    session.open_argument(book);
  else
    session.open_last();
  window.run(session);
  return 0;
}

}  // namespace uroko::gui
