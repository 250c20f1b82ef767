#pragma once
#include <mutex>
#include <string>

#include "uroko/app/session.h"

namespace uroko::app {

/// The unfinished trace on its way to the disk: a worker writes the newest text, so that no frame waits for an fsync.
struct Session::Unfinished {
  std::mutex mutex, file;  ///< of the text; of the writing, so that an older text never comes after a newer one
  std::string text;        ///< newest, "" before the first
  bool waiting = false;    ///< not on the disk yet

  /// Throws Error(Fault::input) when it cannot be written.
  void write(const std::filesystem::path& to);
};

}  // namespace uroko::app
