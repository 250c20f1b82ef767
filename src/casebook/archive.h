#pragma once
#include <filesystem>
#include <string>
#include <vector>

#include "uroko/base/token.h"

namespace uroko::casebook {

/// What a bundle says it holds. Paths are "book.sqlite" or "originals/ab/<sha256><extension>", nothing else.
struct Manifest {
  struct File {
    std::string path, sha256;
    unsigned long long bytes = 0;
  };
  std::string made, program;
  int step = 0;  ///< schema step of book.sqlite
  std::vector<File> files;

  std::string json() const;
  /// Throws Error(Fault::input) naming `bundle` when the text is not such a manifest or names a path that a bundle must not hold.
  static Manifest parse(const std::string& text, const std::filesystem::path& bundle);
};

/// Writes manifest and files (from below `root`) as a zip, checking each file's hash on the way, and fsyncs it. Throws Error(Fault::book).
void write_archive(const Manifest& manifest, const std::filesystem::path& database, const std::filesystem::path& root, const std::filesystem::path& target, const Token& token);

/// Reads the archive to its end; each entry must be a plain file of the manifest, once, with its size and hash. `into` empty: only checks; otherwise
/// writes below it, fsynced. Throws Error(Fault::input) for anything else, Error(Fault::book) when the disk refuses.
Manifest read_archive(const std::filesystem::path& bundle, const std::filesystem::path& into, const Token& token);

}  // namespace uroko::casebook
