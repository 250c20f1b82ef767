#pragma once
#include <filesystem>
#include <string>

namespace uroko::casebook {

/// originals/ab/<sha256><extension> below a book's folder.
std::filesystem::path original_path(const std::filesystem::path& folder, const std::string& sha256, const std::string& extension);
bool is_sha256(const std::string& text);
/// ".jpg": a dot and one to seven lower-case letters or digits.
bool is_extension(const std::string& text);
/// SHA-256 of a file read in pieces. Throws Error(Fault::book) when it cannot be read.
std::string sha256_of_file(const std::filesystem::path& file);

/// A folder of our own in originals/, held by a lock that dies with the process, so that others can tell a leftover from work in progress.
class Staging {
 public:
  explicit Staging(const std::filesystem::path& originals);
  Staging(const Staging&) = delete;
  Staging& operator=(const Staging&) = delete;
  ~Staging();
  const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
  int fd_ = -1;
};
inline constexpr const char* kStaging = ".incoming";

}  // namespace uroko::casebook
