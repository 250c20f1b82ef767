#pragma once
#include <string>
#include <vector>

#include "gui/frame.h"

namespace uroko::gui {

/// What the guide's pictures and the tests through a real window ask for, by environment:
/// UROKO_SCREENSHOT=OUT.png writes the window once nothing is left to do, after the commands named in UROKO_RUN (comma separated ids), and quits.
/// UROKO_STATE=OUT.json writes what is shown, at each change: where every widget stands, what the fields hold, the desk, the step, the notices.
/// What is in the frame that was drawn and not shown yet, CV_8UC3.
cv::Mat read_back(int width, int height);

class Script {
 public:
  Script();
  bool shooting() const { return !shot_.empty(); }
  /// After a frame was drawn and before it is shown. True when the window should close. `busy`: another frame follows at once.
  bool turn(app::Session& session, const Frame& frame, bool busy, int width, int height);

 private:
  void write_state(const app::Session& session, const Frame& frame, bool busy);

  std::string shot_, state_, written_;
  std::vector<std::string> run_;
  int quiet_ = 0;
};

}  // namespace uroko::gui
