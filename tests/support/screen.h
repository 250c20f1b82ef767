#pragma once
#include <sys/types.h>

#include <string>
#include <vector>

namespace uroko::testing {

/// Starts a program and comes back; output and errors go to the end of that file. `keep`: a descriptor that it inherits, or -1.
pid_t start(const std::vector<std::string>& command, const std::vector<std::string>& extra_environment, const std::string& output, int keep = -1);
/// Until the process has ended or the time is up; its exit code (128 + signal), -1: it still runs.
int wait_for_end(pid_t process, double seconds);
/// Asks it to end, then ends it; sets it to 0.
void stop(pid_t& process);
bool program_is_installed(const std::string& name);

/// An X server of its own (Xvfb), with a screen of that size in pixels, as long as the object lives.
class Screen {
 public:
  Screen(int width, int height);
  Screen(const Screen&) = delete;
  Screen& operator=(const Screen&) = delete;
  ~Screen() { stop(server_); }
  const std::string& display() const { return display_; }  ///< ":1"

 private:
  pid_t server_ = 0;
  std::string display_;
};

}  // namespace uroko::testing
