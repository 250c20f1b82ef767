#pragma once
#include <imgui.h>

#include <functional>
#include <map>
#include <opencv2/core.hpp>
#include <string>

namespace uroko::gui {

/// Pictures for drawing, by name. `make` gives CV_8UC4 RGBA and is called once; 0 comes back while this frame's uploads are used up.
class Textures {
 public:
  virtual ~Textures() = default;
  virtual ImTextureID get(const std::string& name, const std::function<cv::Mat()>& make, bool at_once = false) = 0;
  virtual void forget(const std::string& prefix) = 0;
};

/// Without a window: names only, so that the harness can lay out and press.
class NoTextures : public Textures {
 public:
  ImTextureID get(const std::string&, const std::function<cv::Mat()>&, bool) override { return reinterpret_cast<ImTextureID>(1); }
  void forget(const std::string&) override {}
};

/// OpenGL textures: a few uploads a frame, the least recently drawn go when there are many.
class GlTextures : public Textures {
 public:
  ~GlTextures() override;
  ImTextureID get(const std::string& name, const std::function<cv::Mat()>& make, bool at_once) override;
  void forget(const std::string& prefix) override;
  void begin_frame();
  bool wants_more() const { return refused_; }

 private:
  struct Held {
    unsigned id;
    long frame;
    std::size_t bytes;
  };
  std::map<std::string, Held> held_;
  long frame_ = 0;
  std::size_t bytes_ = 0;
  int uploads_ = 0;
  bool refused_ = false;
};

}  // namespace uroko::gui
