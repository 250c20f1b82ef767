#pragma once
#include <filesystem>
#include <optional>

namespace uroko::photo {

/// Decoders in a process of their own, so that a crash, a bomb or a hang in one becomes one Error and the program lives on.
///
/// A waiting process is made once; for every photo it forks a child that gets the file's bytes (sealed memory, no path), decodes them under limits
/// (address space, CPU and wall time, descriptors, no core file, no new privileges, no file system where the kernel has Landlock), hands the pixels
/// back through a pipe that takes its pages without a copy, and ends. The waiting process itself never looks at a photo. While a DecodingWorker lives, probe, load, load_bytes and
/// load_preview of any thread go through it; without one they decode in the calling process under the same limits on size and scans.
class DecodingWorker {
 public:
  /// Forks: to be made first thing in main(), before any thread and any open file. When the system refuses, decoding stays in this process.
  DecodingWorker();
  /// Starts `executable`, whose main() calls `duty` first; any thread may do so at any time.
  explicit DecodingWorker(std::filesystem::path executable);
  DecodingWorker(const DecodingWorker&) = delete;
  DecodingWorker& operator=(const DecodingWorker&) = delete;
  ~DecodingWorker();

  bool running() const;

  /// For main(): serves and gives the exit code when this process was started to decode; nothing otherwise.
  static std::optional<int> duty(int argc, char** argv);
};

}  // namespace uroko::photo
