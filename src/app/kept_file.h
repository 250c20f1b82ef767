#pragma once
#include <filesystem>
#include <functional>
#include <mutex>
#include <string>

namespace uroko::app {

/// A small file of the program's own that always holds the newest of what it was given. A worker makes the text and writes it, so that no
/// frame waits for an fsync.
class KeptFile {
 public:
  using Text = std::function<std::string()>;

  /// True when a job must be started that calls `write`; one that waits already takes the newest.
  bool keep(Text text);
  /// Writes what was given last, if it is not on the disk yet. Throws Error(Fault::input) when it cannot be written.
  void write(const std::filesystem::path& to);

 private:
  std::mutex given_, file_;  ///< of the text; of the writing, so that an older text never comes after a newer one
  Text newest_;              ///< empty: on the disk
};

}  // namespace uroko::app
