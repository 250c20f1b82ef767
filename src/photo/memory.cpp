#include "photo/memory.h"

#include <fcntl.h>
#include <sys/mman.h>
#include <sys/sendfile.h>
#include <sys/uio.h>
#include <unistd.h>

#include <cerrno>
#include <memory>
#include <new>
#include <utility>

namespace uroko::photo {

namespace {

constexpr std::size_t kLargePage = std::size_t{2} << 20;
/// Smaller pictures gain nothing.
constexpr std::size_t kLargeFrom = std::size_t{4} << 20;

/// OpenCV's allocator, with large pages for large pictures.
class LargePages : public cv::MatAllocator {
 public:
  cv::UMatData* allocate(int dims, const int* sizes, int type, void* data, size_t* step, cv::AccessFlag flags, cv::UMatUsageFlags usage) const override {
    std::size_t total = CV_ELEM_SIZE(type);
    for (int i = 0; i < dims; ++i) total *= static_cast<std::size_t>(sizes[i]);
    if (data != nullptr || total < kLargeFrom) return cv::Mat::getStdAllocator()->allocate(dims, sizes, type, data, step, flags, usage);
    std::size_t below = CV_ELEM_SIZE(type);
    for (int i = dims - 1; i >= 0; --i) {
      if (step != nullptr) step[i] = below;
      below *= static_cast<std::size_t>(sizes[i]);
    }
    auto u = std::make_unique<cv::UMatData>(this);
    const std::size_t mapped = total + kLargePage;
    void* at = ::mmap(nullptr, mapped, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
    if (at == MAP_FAILED) throw std::bad_alloc();
    const auto begin = (reinterpret_cast<std::uintptr_t>(at) + kLargePage - 1) / kLargePage * kLargePage;
    ::madvise(reinterpret_cast<void*>(begin), total, MADV_HUGEPAGE);
    u->data = reinterpret_cast<uchar*>(begin);
    u->origdata = static_cast<uchar*>(at);
    u->size = total;
    u->handle = at;
    return u.release();
  }
  bool allocate(cv::UMatData* u, cv::AccessFlag flags, cv::UMatUsageFlags usage) const override { return cv::Mat::getStdAllocator()->allocate(u, flags, usage); }
  void deallocate(cv::UMatData* u) const override {
    if (u == nullptr) return;
    ::munmap(u->handle, u->size + kLargePage);
    delete u;
  }
};

LargePages& large_pages() {
  static LargePages it;
  return it;
}

Fd new_memory() {
  Fd fd(::memfd_create("uroko-photo", MFD_CLOEXEC | MFD_ALLOW_SEALING));
  if (!fd) throw std::bad_alloc();
  return fd;
}

}  // namespace

Fd& Fd::operator=(Fd&& other) noexcept {
  if (this != &other) {
    if (fd_ >= 0) ::close(fd_);
    fd_ = other.release();
  }
  return *this;
}
Fd::~Fd() {
  if (fd_ >= 0) ::close(fd_);
}
int Fd::release() { return std::exchange(fd_, -1); }

SealedBytes SealedBytes::copy_of_file(int file, std::size_t size, bool& read_failed) {
  SealedBytes out;
  out.fd_ = new_memory();
  std::size_t done = 0;
  read_failed = false;
  while (done < size) {
    const auto put = ::sendfile(out.fd(), file, nullptr, size - done);
    if (put < 0 && errno == EINTR) continue;
    if (put < 0 && (errno == ENOMEM || errno == ENOSPC)) throw std::bad_alloc();
    if (put < 0) read_failed = true;
    if (put <= 0) break;
    done += static_cast<std::size_t>(put);
  }
  if (!read_failed) out.seal(done);
  return out;
}

SealedBytes SealedBytes::copy_of(const void* bytes, std::size_t size) {
  SealedBytes out;
  out.fd_ = new_memory();
  std::size_t done = 0;
  while (done < size) {
    const auto put = ::write(out.fd(), static_cast<const char*>(bytes) + done, size - done);
    if (put < 0 && errno == EINTR) continue;
    if (put <= 0) throw std::bad_alloc();
    done += static_cast<std::size_t>(put);
  }
  out.seal(done);
  return out;
}

void SealedBytes::seal(std::size_t size) {
  ::fcntl(fd(), F_ADD_SEALS, F_SEAL_SHRINK | F_SEAL_GROW | F_SEAL_WRITE | F_SEAL_SEAL);
  if (size == 0) return;
  void* at = ::mmap(nullptr, size, PROT_READ, MAP_PRIVATE | MAP_POPULATE, fd(), 0);
  if (at == MAP_FAILED) throw std::bad_alloc();
  data_ = static_cast<char*>(at);
  size_ = size;
}

SealedBytes::SealedBytes(SealedBytes&& other) noexcept : fd_(std::move(other.fd_)), data_(std::exchange(other.data_, nullptr)), size_(std::exchange(other.size_, 0)) {}

SealedBytes::~SealedBytes() {
  if (data_ != nullptr) ::munmap(data_, size_);
}

cv::Mat large_page_picture(int rows, int cols) {
  const int sizes[2] = {rows, cols};
  size_t step[2] = {};
  auto* u = large_pages().allocate(2, sizes, CV_8UC3, nullptr, step, cv::ACCESS_RW, cv::USAGE_DEFAULT);
  cv::Mat out(rows, cols, CV_8UC3, u->data, step[0]);
  out.u = u;
  out.addref();
  return out;
}

void use_large_pages() { cv::Mat::setDefaultAllocator(&large_pages()); }

bool send_pixels(int pipe, const cv::Mat& bgr) {
  const cv::Mat whole = bgr.isContinuous() ? bgr : bgr.clone();
  const std::size_t size = whole.total() * whole.elemSize();
  bool splices = true;
  for (std::size_t done = 0; done < size;) {
    iovec part{whole.data + done, size - done};
    const auto sent = splices ? ::vmsplice(pipe, &part, 1, 0) : ::write(pipe, part.iov_base, part.iov_len);
    if (sent < 0 && errno == EINTR) continue;
    if (sent < 0 && splices && errno != EPIPE) {
      splices = false;  // a kernel or container without it
      continue;
    }
    if (sent <= 0) return false;
    done += static_cast<std::size_t>(sent);
  }
  return true;
}

bool receive_pixels(int pipe, cv::Mat& bgr) {
  const std::size_t size = bgr.total() * bgr.elemSize();
  for (std::size_t done = 0; done < size;) {
    const auto got = ::read(pipe, bgr.data + done, size - done);
    if (got < 0 && errno == EINTR) continue;
    if (got <= 0) return false;
    done += static_cast<std::size_t>(got);
  }
  return true;
}

}  // namespace uroko::photo
