#pragma once
#include <string>
#include <vector>

namespace uroko::testing {

struct Ran {
  int exit_code = -1;  ///< 128 + signal when killed
  std::string out, err;
};

/// Runs a program to its end with these arguments (no shell), nothing on stdin. `folder`: working directory, "" for the present one.
Ran run(const std::vector<std::string>& command, const std::string& folder = "", const std::vector<std::string>& extra_environment = {});

/// In a child behind fork: becomes that program with these additions to the environment, or ends with 127.
[[noreturn]] void become(const std::vector<std::string>& command, const std::vector<std::string>& extra_environment = {});

/// `uroko ARGS` as built here.
Ran uroko(std::vector<std::string> arguments);

}  // namespace uroko::testing
