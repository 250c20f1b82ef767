#include "casebook/originals.h"

#include <fcntl.h>
#include <openssl/evp.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <ctime>
#include <memory>
#include <vector>

#include "casebook/files.h"
#include "uroko/base/error.h"

namespace uroko::casebook {

namespace fs = std::filesystem;

fs::path original_path(const fs::path& folder, const std::string& sha256, const std::string& extension) { return folder / "originals" / sha256.substr(0, 2) / (sha256 + extension); }

bool is_sha256(const std::string& text) { return text.size() == 64 && text.find_first_not_of("0123456789abcdef") == std::string::npos; }

bool is_extension(const std::string& text) {
  return text.size() >= 2 && text.size() <= 8 && text[0] == '.' && text.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789", 1) == std::string::npos;
}

std::string sha256_of_file(const fs::path& file) {
  const auto fail = [&](const std::string& step) { throw Error(Fault::book, "unreadable", file, "cannot be read (" + step + ": " + std::strerror(errno) + ")", "check the disk and the permissions"); };
  const int fd = ::open(file.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd < 0) fail("open");
  const std::unique_ptr<EVP_MD_CTX, decltype(&EVP_MD_CTX_free)> context(EVP_MD_CTX_new(), EVP_MD_CTX_free);
  EVP_DigestInit_ex(context.get(), EVP_sha256(), nullptr);
  std::vector<char> buffer(1 << 20);
  for (;;) {
    const auto got = ::read(fd, buffer.data(), buffer.size());
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) {
      const int code = errno;
      ::close(fd);
      errno = code;
      fail("read");
    }
    if (got == 0) break;
    EVP_DigestUpdate(context.get(), buffer.data(), static_cast<std::size_t>(got));
  }
  ::close(fd);
  unsigned char digest[32];
  unsigned size = 0;
  EVP_DigestFinal_ex(context.get(), digest, &size);
  std::string hex;
  for (const unsigned char byte : digest) hex += {"0123456789abcdef"[byte >> 4], "0123456789abcdef"[byte & 15]};
  return hex;
}

namespace {

/// Removes what an interrupted import left.
void sweep(const fs::path& originals) {
  std::error_code ignored;
  for (const auto& entry : fs::directory_iterator(originals, ignored)) {
    if (entry.path().filename().string().rfind(kStaging, 0) != 0) continue;
    const int fd = ::open(entry.path().c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0) continue;
    // A folder made within the last minute may be about to be locked.
    struct stat st {};
    const bool old = ::fstat(fd, &st) == 0 && ::time(nullptr) - st.st_mtime > 60;
    if (old && ::flock(fd, LOCK_EX | LOCK_NB) == 0) fs::remove_all(entry.path(), ignored);
    ::close(fd);
  }
}

}  // namespace

Staging::Staging(const fs::path& originals) {
  make_folder(originals);
  sweep(originals);
  path_ = temporary_folder(originals, std::string(kStaging).substr(1));
  fd_ = ::open(path_.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (fd_ < 0 || ::flock(fd_, LOCK_EX | LOCK_NB) != 0) {
    if (fd_ >= 0) ::close(fd_);
    throw Error(Fault::book, "io", path_, "cannot be locked", "try again");
  }
}

Staging::~Staging() {
  try {
    std::error_code ignored;
    fs::remove_all(path_, ignored);
  } catch (const std::bad_alloc&) {  // the next import clears it away
  }
  if (fd_ >= 0) ::close(fd_);
}

}  // namespace uroko::casebook
