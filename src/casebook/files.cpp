#include "casebook/files.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <cstring>

#include "uroko/base/error.h"

namespace uroko::casebook {

namespace fs = std::filesystem;

namespace {

[[noreturn]] void fail(const fs::path& file, const std::string& step) {
  const int code = errno;
  const std::string why = step + ": " + std::strerror(code);
  if (code == ENOSPC || code == EDQUOT || code == EFBIG) throw Error(Fault::book, "disk-full", file, "the disk is full (" + why + ")", "make room on the disk, then try again");
  if (code == EACCES || code == EPERM || code == EROFS) throw Error(Fault::book, "read-only", file, "cannot be written (" + why + ")", "check the permissions of the folder");
  throw Error(Fault::book, "io", file, "the disk reported an error (" + why + ")", "check the disk and the folder");
}

struct Descriptor {
  int fd;
  ~Descriptor() {
    if (fd >= 0) ::close(fd);
  }
};

void sync_path(const fs::path& path, int flags) {
  Descriptor d{::open(path.c_str(), flags | O_CLOEXEC)};
  if (d.fd < 0) fail(path, "open");
  if (::fsync(d.fd) != 0) fail(path, "fsync");
}

}  // namespace

void sync_folder(const fs::path& folder) { sync_path(folder.empty() ? fs::path(".") : folder, O_RDONLY | O_DIRECTORY); }
void sync_file(const fs::path& file) { sync_path(file, O_RDONLY); }

void make_folder(const fs::path& folder) {
  if (::mkdir(folder.c_str(), 0777) == 0) {
    sync_folder(folder.parent_path());
  } else if (errno != EEXIST) {
    fail(folder, "mkdir");
  } else if (!fs::is_directory(folder)) {
    errno = ENOTDIR;
    fail(folder, "mkdir");
  }
}

void write_new_file(const fs::path& file, std::string_view bytes, unsigned mode) {
  Descriptor d{::open(file.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, mode)};
  if (d.fd < 0) fail(file, "create");
  for (std::size_t done = 0; done < bytes.size();) {
    const auto put = ::write(d.fd, bytes.data() + done, bytes.size() - done);
    if (put < 0 && errno == EINTR) continue;
    if (put < 0) fail(file, "write");
    done += static_cast<std::size_t>(put);
  }
  if (::fsync(d.fd) != 0) fail(file, "fsync");
  const int fd = d.fd;
  d.fd = -1;
  if (::close(fd) != 0) fail(file, "close");
}

void move_file(const fs::path& from, const fs::path& to, bool keep) {
  if (keep) {
    if (::renameat2(AT_FDCWD, from.c_str(), AT_FDCWD, to.c_str(), RENAME_NOREPLACE) == 0) return;
    // Some file systems know no such flag; there the check comes first.
    if (errno != EINVAL && errno != ENOSYS) fail(to, "rename");
    if (fs::exists(fs::symlink_status(to))) {
      errno = EEXIST;
      fail(to, "rename");
    }
  }
  if (::rename(from.c_str(), to.c_str()) != 0) fail(to, "rename");
}

fs::path temporary_folder(const fs::path& parent, const std::string& prefix) {
  std::string pattern = ((parent.empty() ? fs::path(".") : parent) / ("." + prefix + ".XXXXXX")).string();
  if (!::mkdtemp(pattern.data())) fail(parent, "create a folder");
  ::chmod(pattern.c_str(), 0755);
  return pattern;
}

}  // namespace uroko::casebook
