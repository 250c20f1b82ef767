#pragma once
#include <cstddef>
#include <opencv2/core.hpp>

// Memory and descriptors of the decoding worker; not for other rooms.
namespace uroko::photo {

/// A file descriptor with one owner.
class Fd {
 public:
  explicit Fd(int fd = -1) : fd_(fd) {}
  Fd(Fd&& other) noexcept : fd_(other.release()) {}
  Fd& operator=(Fd&& other) noexcept;
  Fd(const Fd&) = delete;
  Fd& operator=(const Fd&) = delete;
  ~Fd();
  int get() const { return fd_; }
  explicit operator bool() const { return fd_ >= 0; }
  int release();

 private:
  int fd_;
};

/// A file's bytes in memory that another process can be given as a descriptor (memfd_create(2)) and that nobody can change any more.
class SealedBytes {
 public:
  /// Stops where the file ends. Throws std::bad_alloc; `read_failed` tells of an I/O error (errno).
  static SealedBytes copy_of_file(int file, std::size_t size, bool& read_failed);
  static SealedBytes copy_of(const void* bytes, std::size_t size);
  SealedBytes(SealedBytes&& other) noexcept;
  SealedBytes(const SealedBytes&) = delete;
  SealedBytes& operator=(const SealedBytes&) = delete;
  ~SealedBytes();

  const char* data() const { return data_; }
  std::size_t size() const { return size_; }
  int fd() const { return fd_.get(); }

 private:
  SealedBytes() = default;
  void seal(std::size_t size);
  Fd fd_;
  char* data_ = nullptr;
  std::size_t size_ = 0;
};

/// An 8-bit BGR picture in large pages where the kernel gives them: a quarter of the time of a plain allocation of that size.
cv::Mat large_page_picture(int rows, int cols);
/// From now on every larger picture of this process is such a one.
void use_large_pages();

/// Pixels through a pipe without copying them on this side (vmsplice(2)). false when the other side is gone.
bool send_pixels(int pipe, const cv::Mat& bgr);
/// false when they end early.
bool receive_pixels(int pipe, cv::Mat& bgr);

}  // namespace uroko::photo
