#pragma once
#include <filesystem>
#include <stdexcept>
#include <string>

namespace uroko {

/// What kind of trouble stopped the work. The values are the command's exit codes.
enum class Fault { not_measured = 1, usage = 2, input = 3, book = 4 };

/// Thrown for I/O trouble and broken preconditions. Says what happened, to which file, and what to do next.
/// `code` is a short stable word for scripts ("missing", "damaged", ...).
class Error : public std::runtime_error {
 public:
  Error(Fault fault, std::string code, std::filesystem::path file, std::string happened, std::string advice);

  Fault fault() const { return fault_; }
  int exit_code() const { return static_cast<int>(fault_); }
  const std::string& code() const { return code_; }
  const std::filesystem::path& file() const { return file_; }
  const std::string& happened() const { return happened_; }
  const std::string& advice() const { return advice_; }

 private:
  Fault fault_;
  std::string code_;
  std::filesystem::path file_;
  std::string happened_;
  std::string advice_;
};

}  // namespace uroko
