#pragma once
#include <filesystem>
#include <new>
#include <string>
#include <string_view>

namespace uroko::casebook {

/// fsync(2) of a folder, so that a rename in it is on the disk. Throws Error(Fault::book).
void sync_folder(const std::filesystem::path& folder);
void sync_file(const std::filesystem::path& file);
/// Makes a folder (and fsyncs its parent) when it is not there.
void make_folder(const std::filesystem::path& folder);
/// Writes, fsyncs and closes a new file. Throws Error(Fault::book), code "disk-full" for ENOSPC.
void write_new_file(const std::filesystem::path& file, std::string_view bytes, unsigned mode = 0644);
/// rename(2); with `keep` it refuses to replace (renameat2 RENAME_NOREPLACE). Throws Error(Fault::book).
void move_file(const std::filesystem::path& from, const std::filesystem::path& to, bool keep = false);
/// A new folder beside `beside` with a hidden name; the caller removes it.
std::filesystem::path temporary_folder(const std::filesystem::path& parent, const std::string& prefix);

/// Removes a path (a file or a whole folder) at the end of the scope unless `keep` was called.
class Scratch {
 public:
  explicit Scratch(std::filesystem::path path) : path_(std::move(path)) {}
  Scratch(const Scratch&) = delete;
  Scratch& operator=(const Scratch&) = delete;
  ~Scratch() {
    try {
      std::error_code ignored;
      if (!path_.empty()) std::filesystem::remove_all(path_, ignored);
    } catch (const std::bad_alloc&) {  // it stays behind; the check of a book names it
    }
  }
  const std::filesystem::path& path() const { return path_; }
  void keep() { path_.clear(); }

 private:
  std::filesystem::path path_;
};

}  // namespace uroko::casebook
