#include "gui/textures.h"

#include <GL/gl.h>
#include <GL/glext.h>

#include <vector>

namespace uroko::gui {

namespace {
constexpr int kUploadsAFrame = 6;
constexpr std::size_t kMostBytes = std::size_t{420} << 20;  // a 48 MP photo's tiles and more
}  // namespace

GlTextures::~GlTextures() {
  for (const auto& [name, t] : held_) glDeleteTextures(1, &t.id);
}

void GlTextures::begin_frame() {
  ++frame_;
  uploads_ = 0;
  refused_ = false;
  if (bytes_ <= kMostBytes) return;
  for (auto it = held_.begin(); it != held_.end() && bytes_ > kMostBytes / 2;) {
    if (it->second.frame + 2 < frame_) {
      glDeleteTextures(1, &it->second.id);
      bytes_ -= it->second.bytes;
      it = held_.erase(it);
    } else {
      ++it;
    }
  }
}

ImTextureID GlTextures::get(const std::string& name, const std::function<cv::Mat()>& make, bool at_once) {
  if (const auto found = held_.find(name); found != held_.end()) {
    found->second.frame = frame_;
    return reinterpret_cast<ImTextureID>(static_cast<std::intptr_t>(found->second.id));
  }
  if (!at_once && uploads_ >= kUploadsAFrame) {
    refused_ = true;
    return nullptr;
  }
  ++uploads_;
  const cv::Mat rgba = make();
  if (rgba.empty() || rgba.type() != CV_8UC4) return nullptr;
  Held t{0, frame_, rgba.total() * 4};
  glGenTextures(1, &t.id);
  glBindTexture(GL_TEXTURE_2D, t.id);
  glTexParameteri(GL_TEXTURE_2D, GL_TEXTURE_MIN_FILTER, GL_LINEAR);
  glTexParameteri(GL_TEXTURE_2D, GL_TEXTURE_MAG_FILTER, GL_LINEAR);
  glTexParameteri(GL_TEXTURE_2D, GL_TEXTURE_WRAP_S, GL_CLAMP_TO_EDGE);
  glTexParameteri(GL_TEXTURE_2D, GL_TEXTURE_WRAP_T, GL_CLAMP_TO_EDGE);
  glPixelStorei(GL_UNPACK_ALIGNMENT, 1);
  glPixelStorei(GL_UNPACK_ROW_LENGTH, static_cast<GLint>(rgba.step / 4));
  glTexImage2D(GL_TEXTURE_2D, 0, GL_RGBA8, rgba.cols, rgba.rows, 0, GL_RGBA, GL_UNSIGNED_BYTE, rgba.data);
  glPixelStorei(GL_UNPACK_ROW_LENGTH, 0);
  bytes_ += t.bytes;
  held_[name] = t;
  return reinterpret_cast<ImTextureID>(static_cast<std::intptr_t>(t.id));
}

void GlTextures::forget(const std::string& prefix) {
  for (auto it = held_.lower_bound(prefix); it != held_.end() && it->first.rfind(prefix, 0) == 0;) {
    glDeleteTextures(1, &it->second.id);
    bytes_ -= it->second.bytes;
    it = held_.erase(it);
  }
}

}  // namespace uroko::gui
