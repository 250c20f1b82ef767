#include "photo/worker_wire.h"

#include <sys/socket.h>

#include <cerrno>
#include <cstring>

namespace uroko::photo {

namespace {

constexpr std::size_t kMostDescriptors = 4;

class Writer {
 public:
  void put(std::int64_t value) { out_ += bytes_of(value); }
  void put(double value) { out_ += bytes_of(value); }
  void put(const std::string& text) {
    const auto kept = text.substr(0, 1000);
    put(static_cast<std::int64_t>(kept.size()));
    out_ += kept;
  }
  std::string take() { return std::move(out_); }

 private:
  std::string out_;
};

class Reader {
 public:
  explicit Reader(std::string_view bytes) : bytes_(bytes) {}
  std::int64_t integer() { return fixed<std::int64_t>(); }
  double real() { return fixed<double>(); }
  std::string text() {
    const auto size = integer();
    if (size < 0 || static_cast<std::size_t>(size) > bytes_.size()) return fail(), std::string();
    std::string out(bytes_.substr(0, static_cast<std::size_t>(size)));
    bytes_.remove_prefix(out.size());
    return out;
  }
  /// A number from `low` to `high`, else the message is not one.
  int within(int low, int high) {
    const auto value = integer();
    if (value < low || value > high) return fail(), low;
    return static_cast<int>(value);
  }
  bool good() const { return good_ && bytes_.empty(); }

 private:
  template <class T> T fixed() {
    T out{};
    if (bytes_.size() < sizeof out) return fail(), out;
    std::memcpy(&out, bytes_.data(), sizeof out);
    bytes_.remove_prefix(sizeof out);
    return out;
  }
  void fail() {
    good_ = false;
    bytes_ = {};
  }
  std::string_view bytes_;
  bool good_ = true;
};

void put(Writer& out, const std::optional<double>& value) {
  out.put(std::int64_t{value.has_value()});
  out.put(value.value_or(0));
}
std::optional<double> optional_real(Reader& in) {
  const bool there = in.within(0, 1) == 1;
  const double value = in.real();
  return there ? std::optional(value) : std::nullopt;
}

}  // namespace

std::string packed(const Request& request) {
  Writer out;
  out.put(static_cast<std::int64_t>(request.job.deed));
  out.put(std::int64_t{request.job.max_side_px});
  out.put(static_cast<std::int64_t>(request.job.limits.max_bytes));
  out.put(request.job.limits.max_megapixels);
  out.put(std::int64_t{request.job.limits.max_side_px});
  out.put(static_cast<std::int64_t>(request.bytes));
  return out.take();
}

bool unpack(std::string_view message, Request& request) {
  Reader in(message);
  request.job.deed = static_cast<Job::Deed>(in.within(0, static_cast<int>(Job::Deed::babble)));
  request.job.max_side_px = static_cast<int>(in.integer());
  request.job.limits.max_bytes = static_cast<std::uintmax_t>(in.integer());
  request.job.limits.max_megapixels = in.real();
  request.job.limits.max_side_px = static_cast<int>(in.integer());
  request.bytes = static_cast<std::uint64_t>(in.integer());
  return in.good();
}

std::string packed(const PhotoInfo& info) {
  Writer out;
  out.put(static_cast<std::int64_t>(info.format));
  out.put(std::int64_t{info.width_px});
  out.put(std::int64_t{info.height_px});
  out.put(std::int64_t{info.orientation});
  out.put(info.taken ? info.taken->iso() : std::string());
  out.put(static_cast<std::int64_t>(info.taken_from));
  for (const auto* text : {&info.camera_make, &info.camera_model, &info.lens_model, &info.colour_profile}) out.put(*text);
  put(out, info.focal_mm);
  put(out, info.focal35_mm);
  out.put(std::int64_t{info.has_position});
  return out.take();
}

bool unpack(std::string_view message, PhotoInfo& info) {
  Reader in(message);
  info.format = static_cast<Format>(in.within(0, 4));
  info.width_px = in.within(1, 1 << 24);
  info.height_px = in.within(1, 1 << 24);
  info.orientation = in.within(1, 8);
  const auto taken = in.text();
  info.taken = DateTime::parse(taken);
  if (!taken.empty() && !info.taken) return false;
  info.taken_from = static_cast<DateSource>(in.within(0, static_cast<int>(DateSource::none)));
  for (auto* text : {&info.camera_make, &info.camera_model, &info.lens_model, &info.colour_profile}) *text = in.text();
  info.focal_mm = optional_real(in);
  info.focal35_mm = optional_real(in);
  info.has_position = in.within(0, 1) == 1;
  return in.good();
}

bool send_message(int socket, const std::string& message, const std::vector<int>& descriptors, int flags) {
  alignas(cmsghdr) char room[CMSG_SPACE(kMostDescriptors * sizeof(int))] = {};
  iovec part{const_cast<char*>(message.data()), message.size()};
  msghdr header{};
  header.msg_iov = &part;
  header.msg_iovlen = 1;
  if (!descriptors.empty()) {
    header.msg_control = room;
    header.msg_controllen = CMSG_SPACE(descriptors.size() * sizeof(int));
    cmsghdr* c = CMSG_FIRSTHDR(&header);
    c->cmsg_level = SOL_SOCKET;
    c->cmsg_type = SCM_RIGHTS;
    c->cmsg_len = CMSG_LEN(descriptors.size() * sizeof(int));
    std::memcpy(CMSG_DATA(c), descriptors.data(), descriptors.size() * sizeof(int));
  }
  for (;;) {
    const auto sent = ::sendmsg(socket, &header, MSG_NOSIGNAL | flags);
    if (sent >= 0) return true;
    if (errno != EINTR) return false;
  }
}

bool receive_message(int socket, std::string& message, std::vector<Fd>& descriptors) {
  alignas(cmsghdr) char room[CMSG_SPACE(kMostDescriptors * sizeof(int))] = {};
  message.resize(kMostMessage);
  iovec part{message.data(), message.size()};
  msghdr header{};
  header.msg_iov = &part;
  header.msg_iovlen = 1;
  header.msg_control = room;
  header.msg_controllen = sizeof room;
  ssize_t got = -1;
  do got = ::recvmsg(socket, &header, MSG_CMSG_CLOEXEC);
  while (got < 0 && errno == EINTR);
  descriptors.clear();
  if (got > 0)
    for (cmsghdr* c = CMSG_FIRSTHDR(&header); c != nullptr; c = CMSG_NXTHDR(&header, c)) {
      if (c->cmsg_level != SOL_SOCKET || c->cmsg_type != SCM_RIGHTS) continue;
      const std::size_t count = (c->cmsg_len - CMSG_LEN(0)) / sizeof(int);
      for (std::size_t i = 0; i < count; ++i) {
        int fd = -1;
        std::memcpy(&fd, CMSG_DATA(c) + i * sizeof(int), sizeof fd);
        descriptors.emplace_back(fd);
      }
    }
  message.resize(got > 0 ? static_cast<std::size_t>(got) : 0);
  return got > 0 && (header.msg_flags & (MSG_TRUNC | MSG_CTRUNC)) == 0;
}

}  // namespace uroko::photo
