#pragma once
#include <string>

#include "uroko/report/scene.h"

namespace uroko::report {

/// The items added to the scene while it lives are of that structure type. The scene must stay where it is.
class Tagged {
 public:
  Tagged(Scene& scene, std::string type, std::string alt = {}) : scene_(scene), index_(scene.tags.size()) {
    scene_.tags.push_back({std::move(type), scene_.items.size(), scene_.items.size(), std::move(alt)});
  }
  ~Tagged() { scene_.tags[index_].end = scene_.items.size(); }
  Tagged(const Tagged&) = delete;
  Tagged& operator=(const Tagged&) = delete;

 private:
  Scene& scene_;
  std::size_t index_;
};

}  // namespace uroko::report
