#include "app/kept_file.h"

#include <utility>

#include "uroko/base/error.h"
#include "uroko/base/file.h"

namespace uroko::app {

bool KeptFile::keep(Text text) {
  std::lock_guard lock(given_);
  return !std::exchange(newest_, std::move(text));
}

void KeptFile::write(const std::filesystem::path& to) {
  std::lock_guard one(file_);
  Text newest;
  {
    std::lock_guard lock(given_);
    newest = std::exchange(newest_, nullptr);
  }
  if (!newest) return;
  std::error_code error;
  std::filesystem::create_directories(to.parent_path(), error);
  if (error) throw Error(Fault::input, "not-written", to.parent_path(), "the folder could not be made: " + error.message(), "check that your home folder is writable");
  write_file_whole(to, newest());
}

}  // namespace uroko::app
