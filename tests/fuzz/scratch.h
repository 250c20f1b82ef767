#pragma once
#include <unistd.h>

#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <string_view>

namespace uroko::fuzz {

/// A folder of this process in memory where there is such a place, removed at exit.
inline const std::filesystem::path& scratch() {
  static const struct Folder {
    std::filesystem::path path;
    Folder() {
      std::string pattern = std::string(::access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp") + "/uroko-fuzz-XXXXXX";
      if (::mkdtemp(pattern.data()) == nullptr) std::abort();
      path = pattern;
    }
    ~Folder() {
      std::error_code ignored;
      std::filesystem::remove_all(path, ignored);
    }
  } folder;
  return folder.path;
}

inline std::filesystem::path put(const char* name, std::string_view bytes) {
  const auto file = scratch() / name;
  std::FILE* f = std::fopen(file.c_str(), "wb");
  if (f == nullptr || std::fwrite(bytes.data(), 1, bytes.size(), f) != bytes.size() || std::fclose(f) != 0) std::abort();
  return file;
}

inline std::string_view text(const std::uint8_t* data, std::size_t size) { return {reinterpret_cast<const char*>(data), size}; }

/// A broken promise ends the run as a crash does.
inline void must(bool holds) {
  if (!holds) std::abort();
}

}  // namespace uroko::fuzz
