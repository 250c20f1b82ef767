#include "uroko/base/file.h"

#include <fcntl.h>
#include <openssl/evp.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

#include "uroko/base/error.h"

namespace uroko {

namespace fs = std::filesystem;

namespace {

class Descriptor {
 public:
  explicit Descriptor(int fd) : fd_(fd) {}
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  ~Descriptor() {
    if (fd_ >= 0) ::close(fd_);
  }
  int get() const { return fd_; }
  int release() {
    const int fd = fd_;
    fd_ = -1;
    return fd;
  }
  /// close(2) may report a delayed write error; 0 when fine.
  int close_now() {
    const int fd = fd_;
    fd_ = -1;
    return ::close(fd);
  }

 private:
  int fd_;
};

std::string reason() { return std::strerror(errno); }

}  // namespace

OpenedFile open_regular_file(const fs::path& file, std::size_t limit) {
  // O_NONBLOCK: a named pipe without a writer must not hang the program before fstat tells what it is.
  Descriptor in(::open(file.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK));
  if (in.get() < 0) {
    if (errno == ENOENT || errno == ENOTDIR)
      throw Error(Fault::input, "missing", file, "there is no such file", "check the name and the folder");
    throw Error(Fault::input, "unreadable", file, "cannot be opened (" + reason() + ")", "check the permissions");
  }
  struct stat st {};
  if (::fstat(in.get(), &st) != 0 || !S_ISREG(st.st_mode))
    throw Error(Fault::input, "not-a-file", file, "is not a regular file", "name a file");
  if (static_cast<std::size_t>(st.st_size) > limit)
    throw Error(Fault::input, "too-large", file, "is larger than " + std::to_string(limit >> 20) + " MB", "give a smaller file");
  const std::size_t size = static_cast<std::size_t>(st.st_size);
  return {in.release(), size};
}

std::string read_file(const fs::path& file, std::size_t limit) {
  const auto opened = open_regular_file(file, limit);
  const Descriptor in(opened.descriptor);
  std::string bytes(opened.size, '\0');
  std::size_t done = 0;
  while (done < bytes.size()) {
    const auto got = ::read(in.get(), bytes.data() + done, bytes.size() - done);
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) throw Error(Fault::input, "unreadable", file, "reading failed (" + reason() + ")", "check the disk");
    if (got == 0) break;
    done += static_cast<std::size_t>(got);
  }
  bytes.resize(done);
  return bytes;
}

void write_file_whole(const fs::path& file, std::string_view bytes) {
  const fs::path folder = file.has_parent_path() ? file.parent_path() : fs::path(".");
  std::string pattern = (folder / ("." + file.filename().string() + ".XXXXXX")).string();
  Descriptor out(::mkostemp(pattern.data(), O_CLOEXEC));
  const auto fail = [&](const std::string& step) {
    const std::string why = reason();
    if (out.get() >= 0) ::unlink(pattern.c_str());
    throw Error(Fault::input, "not-written", file, "could not be written (" + step + ": " + why + ")",
                "check the folder, its permissions and the free space");
  };
  if (out.get() < 0) fail("create");
  std::size_t done = 0;
  while (done < bytes.size()) {
    const auto put = ::write(out.get(), bytes.data() + done, bytes.size() - done);
    if (put < 0 && errno == EINTR) continue;
    if (put < 0) fail("write");
    done += static_cast<std::size_t>(put);
  }
  const mode_t mask = ::umask(0);
  ::umask(mask);
  if (::fchmod(out.get(), 0666 & ~mask) != 0) fail("chmod");
  if (::fsync(out.get()) != 0) fail("fsync");
  if (out.close_now() != 0) {
    const std::string why = reason();
    ::unlink(pattern.c_str());
    throw Error(Fault::input, "not-written", file, "could not be written (close: " + why + ")", "check the disk");
  }
  if (::rename(pattern.c_str(), file.c_str()) != 0) {
    const std::string why = reason();
    ::unlink(pattern.c_str());
    throw Error(Fault::input, "not-written", file, "could not be written (rename: " + why + ")", "check the folder");
  }
  Descriptor dir(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  // Some file systems cannot sync a folder (EINVAL) and need not; a disk that fails to must not pass for "saved".
  if (dir.get() >= 0 && ::fsync(dir.get()) != 0 && errno != EINVAL && errno != ENOTSUP)
    throw Error(Fault::input, "not-written", file, "may not last: the disk did not confirm that it holds the file (fsync: " + reason() + ")", "check the disk and write it again");
}

std::string sha256_hex(std::string_view bytes) {
  unsigned char digest[32];
  unsigned int size = 0;
  if (EVP_Digest(bytes.data(), bytes.size(), digest, &size, EVP_sha256(), nullptr) != 1 || size != 32)
    throw std::runtime_error("SHA-256 failed");
  std::string hex;
  hex.reserve(64);
  for (const unsigned char byte : digest) {
    hex += "0123456789abcdef"[byte >> 4];
    hex += "0123456789abcdef"[byte & 15];
  }
  return hex;
}

}  // namespace uroko
