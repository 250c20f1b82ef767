#include "photo/worker_client.h"

#include <fcntl.h>
#include <poll.h>
#include <spawn.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <cerrno>
#include <csignal>
#include <cstring>
#include <mutex>

#include "photo/worker_wire.h"
#include "uroko/base/file.h"
#include "uroko/photo/worker.h"

extern char** environ;

namespace uroko::photo {

namespace {

constexpr const char* kDuty = "--decode-worker";
/// The kernel ends a decoder earlier; this is for the case that no word comes at all.
constexpr int kPatienceMs = 900'000;

struct Worker {
  std::mutex mutex;
  std::atomic<bool> wanted = false;
  std::filesystem::path executable;
  Fd socket;
  pid_t pid = -1;
  int starts = 0;
};
Worker& worker() {
  static Worker it;
  return it;
}

bool socket_pair(Fd& ours, Fd& theirs) {
  int pair[2];
  if (::socketpair(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0, pair) != 0) return false;
  ours = Fd(pair[0]);
  theirs = Fd(pair[1]);
  return true;
}

/// Under the mutex.
void end(Worker& w) {
  w.socket = Fd();
  if (w.pid > 0) ::waitpid(w.pid, nullptr, 0);
  w.pid = -1;
}

/// A fresh program: this process may have threads by now, whose locks a fork would copy.
bool spawn(Worker& w) {
  if (w.starts >= 20) return false;  // something here ends it again and again: decode without it
  ++w.starts;
  Fd ours, theirs;
  if (!socket_pair(ours, theirs)) return false;
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_adddup2(&actions, theirs.get(), 3);
  std::string name = "uroko", duty = kDuty;
  char* argv[] = {name.data(), duty.data(), nullptr};
  pid_t pid = -1;
  const int failed = ::posix_spawn(&pid, w.executable.c_str(), &actions, nullptr, argv, environ);
  posix_spawn_file_actions_destroy(&actions);
  if (failed != 0) return false;
  w.socket = std::move(ours);
  w.pid = pid;
  return true;
}

/// Sends the request; starts the worker (again) where it is gone.
bool request_decoding(const Request& request, int file, int reply) {
  auto& w = worker();
  const std::lock_guard lock(w.mutex);
  for (int attempt = 0; attempt < 2; ++attempt) {
    if (!w.wanted || (!w.socket && !spawn(w))) return false;
    if (send_message(w.socket.get(), packed(request), {file, reply})) return true;
    end(w);
  }
  return false;
}

[[noreturn]] void stopped(const Source& source, const Answer& died) {
  const int signal = WIFSIGNALED(died.status) ? WTERMSIG(died.status) : 0;
  if (signal == SIGALRM || signal == SIGXCPU) source.refuse("too-slow", "takes too long to decode", "save it as an ordinary JPEG and use that");
  if (signal == SIGKILL) source.refuse("no-memory", "needs more memory than there is", "close other programs or save the photo smaller");
  source.damaged("the decoder stopped" + (signal != 0 ? " with signal " + std::to_string(signal) : std::string()));
}

}  // namespace

std::optional<SealedBytes> worker_file(const std::filesystem::path& file, std::uintmax_t limit) {
  if (!worker().wanted) return std::nullopt;
  const auto opened = open_regular_file(file, limit);
  const Fd fd(opened.descriptor);
  bool failed = false;
  try {
    auto out = SealedBytes::copy_of_file(fd.get(), opened.size, failed);
    if (failed) throw Error(Fault::input, "unreadable", file, std::string("reading failed (") + std::strerror(errno) + ")", "check the disk");
    return out;
  } catch (const std::bad_alloc&) {
    throw Error(Fault::input, "no-memory", file, "needs more memory than there is", "close other programs or save the photo smaller");
  }
}

std::optional<SealedBytes> worker_bytes(std::string_view bytes) {
  if (!worker().wanted || bytes.empty()) return std::nullopt;
  return SealedBytes::copy_of(bytes.data(), bytes.size());
}

std::optional<Loaded> ask_worker(const SealedBytes& bytes, const std::filesystem::path& file, const Job& job, std::string& hash) {
  Fd ours, theirs;
  if (!worker().wanted || !socket_pair(ours, theirs)) return std::nullopt;
  Request request;
  request.job = job;
  request.bytes = bytes.size();
  if (!request_decoding(request, bytes.fd(), theirs.get())) return std::nullopt;
  theirs = Fd();
  const Source source{{bytes.data(), bytes.size()}, file};
  hash = sha256_hex(source.bytes);
  pollfd wait{ours.get(), POLLIN, 0};
  int ready = 0;
  do ready = ::poll(&wait, 1, kPatienceMs);
  while (ready < 0 && errno == EINTR);
  if (ready == 0) source.refuse("too-slow", "takes too long to decode", "save it as an ordinary JPEG and use that");
  Answer answer;
  std::string message;
  std::vector<Fd> descriptors;
  if (!receive_message(ours.get(), message, descriptors) || message.size() < sizeof answer) stopped(source, Answer{});
  std::memcpy(&answer, message.data(), sizeof answer);
  const auto words = std::string_view(message).substr(sizeof answer);
  if (answer.kind == Answer::Kind::died) stopped(source, answer);
  if (answer.kind == Answer::Kind::error) {
    std::string said[3];
    std::size_t at = 0;
    for (auto& text : said) {
      const auto stop = words.find('\0', at);
      if (stop == std::string_view::npos) source.damaged("the decoder's answer cannot be read");
      text = words.substr(at, stop - at);
      at = stop + 1;
    }
    source.refuse(said[0], said[1], said[2]);
  }
  Loaded out;
  if (answer.kind != Answer::Kind::photo || !unpack(words, out.info)) source.damaged("the decoder's answer cannot be read");
  if (job.deed == Job::Deed::probe) return out;
  const auto& limits = job.limits;
  if (answer.rows <= 0 || answer.cols <= 0 || std::max(answer.rows, answer.cols) > limits.max_side_px || double(answer.rows) * answer.cols > limits.max_megapixels * 1e6 || descriptors.size() != 1)
    source.damaged("the decoder's answer cannot be read");
  out.bgr = large_page_picture(answer.rows, answer.cols);
  if (!receive_pixels(descriptors[0].get(), out.bgr)) source.refuse("stopped", "was read, but the pixels did not all come through", "open it again; close other programs if it happens again");
  return out;
}

DecodingWorker::DecodingWorker() {
  auto& w = worker();
  const std::lock_guard lock(w.mutex);
  Fd ours, theirs;
  if (!socket_pair(ours, theirs)) return;
  const pid_t pid = ::fork();
  if (pid < 0) return;
  if (pid == 0) serve_decoding(theirs.get());
  w.wanted = true;
  w.executable = "/proc/self/exe";
  w.socket = std::move(ours);
  w.pid = pid;
  w.starts = 1;
}

DecodingWorker::DecodingWorker(std::filesystem::path executable) {
  auto& w = worker();
  const std::lock_guard lock(w.mutex);
  w.executable = std::move(executable);
  w.starts = 0;
  w.wanted = spawn(w);
}

DecodingWorker::~DecodingWorker() {
  auto& w = worker();
  const std::lock_guard lock(w.mutex);
  w.wanted = false;
  end(w);
}

bool DecodingWorker::running() const {
  auto& w = worker();
  const std::lock_guard lock(w.mutex);
  return w.wanted && bool(w.socket);
}

std::optional<int> DecodingWorker::duty(int argc, char** argv) {
  if (argc != 2 || std::strcmp(argv[1], kDuty) != 0) return std::nullopt;
  int type = 0;
  socklen_t size = sizeof type;
  if (::getsockopt(3, SOL_SOCKET, SO_TYPE, &type, &size) != 0 || type != SOCK_SEQPACKET) return std::nullopt;  // someone typed it
  serve_decoding(3);
}

}  // namespace uroko::photo
