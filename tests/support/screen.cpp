#include "support/screen.h"

#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <stdexcept>
#include <thread>

#include "support/command.h"

namespace uroko::testing {

pid_t start(const std::vector<std::string>& command, const std::vector<std::string>& extra_environment, const std::string& output, int keep) {
  const pid_t child = ::fork();
  if (child != 0) return child;
  const int out = ::open(output.c_str(), O_WRONLY | O_CREAT | O_APPEND, 0600);
  ::dup2(::open("/dev/null", O_RDONLY), 0);
  ::dup2(out, 1);
  ::dup2(out, 2);
  if (keep >= 0) ::fcntl(keep, F_SETFD, 0);
  become(command, extra_environment);
}

int wait_for_end(pid_t process, double seconds) {
  const auto end = std::chrono::steady_clock::now() + std::chrono::duration<double>(seconds);
  for (;;) {
    int status = 0;
    if (::waitpid(process, &status, WNOHANG) == process) return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
    if (std::chrono::steady_clock::now() > end) return -1;
    std::this_thread::sleep_for(std::chrono::milliseconds(5));
  }
}

void stop(pid_t& process) {
  if (process <= 0) return;
  ::kill(process, SIGTERM);
  if (wait_for_end(process, 3) == -1) {
    ::kill(process, SIGKILL);
    wait_for_end(process, 3);
  }
  process = 0;
}

bool program_is_installed(const std::string& name) { return run({"sh", "-c", "command -v " + name}).exit_code == 0; }

Screen::Screen(int width, int height) {
  int pipe[2];
  if (::pipe2(pipe, O_CLOEXEC) != 0) throw std::runtime_error("pipe failed");
  server_ = start({"Xvfb", "-displayfd", std::to_string(pipe[1]), "-screen", "0", std::to_string(width) + "x" + std::to_string(height) + "x24", "-nolisten", "tcp", "-noreset"}, {}, "/dev/null", pipe[1]);
  ::close(pipe[1]);
  std::string number;
  pollfd ready{pipe[0], POLLIN, 0};
  for (char c; number.find('\n') == std::string::npos && ::poll(&ready, 1, 20000) == 1 && ::read(pipe[0], &c, 1) == 1;) number += c;
  ::close(pipe[0]);
  if (number.find('\n') == std::string::npos) {
    stop(server_);
    throw std::runtime_error("Xvfb did not start");
  }
  display_ = ":" + number.substr(0, number.find('\n'));
}

}  // namespace uroko::testing
