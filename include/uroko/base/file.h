#pragma once
#include <filesystem>
#include <string>
#include <string_view>

namespace uroko {

/// The whole file. Throws Error(Fault::input) when it is missing, is a folder, cannot be read, or is larger than `limit` bytes.
std::string read_file(const std::filesystem::path& file, std::size_t limit = std::size_t{1} << 30);

/// A regular file opened for reading; the caller closes the descriptor. Throws as read_file does.
struct OpenedFile {
  int descriptor = -1;
  std::size_t size = 0;
};
OpenedFile open_regular_file(const std::filesystem::path& file, std::size_t limit);

/// Writes a file whole or not at all: temporary file in the same folder, fsync, rename, fsync of the folder.
/// Throws Error(fault) and leaves what stood there before.
void write_file_whole(const std::filesystem::path& file, std::string_view bytes);

/// SHA-256 as 64 lower-case hex digits (OpenSSL's libcrypto; FIPS 180-4).
std::string sha256_hex(std::string_view bytes);

}  // namespace uroko
