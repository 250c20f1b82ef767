#include "support/command.h"

#include <fcntl.h>
#include <poll.h>
#include <sys/wait.h>
#include <unistd.h>

#include <stdexcept>

namespace uroko::testing {

void become(const std::vector<std::string>& command, const std::vector<std::string>& extra_environment) {
  for (const auto& pair : extra_environment) ::putenv(const_cast<char*>(pair.c_str()));
  std::vector<char*> argv;
  for (const auto& word : command) argv.push_back(const_cast<char*>(word.c_str()));
  argv.push_back(nullptr);
  ::execvp(argv[0], argv.data());
  ::_exit(127);
}

Ran run(const std::vector<std::string>& command, const std::string& folder, const std::vector<std::string>& extra_environment) {
  int out[2], err[2];
  if (::pipe2(out, O_CLOEXEC) != 0 || ::pipe2(err, O_CLOEXEC) != 0) throw std::runtime_error("pipe failed");
  const pid_t child = ::fork();
  if (child < 0) throw std::runtime_error("fork failed");
  if (child == 0) {
    ::dup2(::open("/dev/null", O_RDONLY), 0);
    ::dup2(out[1], 1);
    ::dup2(err[1], 2);
    if (!folder.empty() && ::chdir(folder.c_str()) != 0) ::_exit(126);
    become(command, extra_environment);
  }
  ::close(out[1]);
  ::close(err[1]);
  Ran ran;
  pollfd fds[2] = {{out[0], POLLIN, 0}, {err[0], POLLIN, 0}};
  int open = 2;
  char buffer[65536];
  while (open > 0) {
    ::poll(fds, 2, -1);
    for (int i = 0; i < 2; ++i) {
      if (fds[i].fd < 0 || !(fds[i].revents & (POLLIN | POLLHUP | POLLERR))) continue;
      const auto got = ::read(fds[i].fd, buffer, sizeof buffer);
      if (got > 0) {
        (i == 0 ? ran.out : ran.err).append(buffer, static_cast<std::size_t>(got));
      } else {
        fds[i].fd = -1;
        --open;
      }
    }
  }
  ::close(out[0]);
  ::close(err[0]);
  int status = 0;
  ::waitpid(child, &status, 0);
  ran.exit_code = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  return ran;
}

Ran uroko(std::vector<std::string> arguments) {
  arguments.insert(arguments.begin(), UROKO_COMMAND);
  return run(arguments);
}

}  // namespace uroko::testing
