#include <fcntl.h>
#include <linux/landlock.h>
#include <malloc.h>
#include <poll.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/signalfd.h>
#include <sys/socket.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <cstdio>
#include <cstring>
#include <map>

#include "photo/worker_wire.h"

#ifdef UROKO_COVERAGE
extern "C" void __gcov_dump();
#endif

namespace uroko::photo {

namespace {

#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
constexpr bool kSanitized = true;  // shadow memory fills any address space, and everything takes longer
#elif defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer) || __has_feature(memory_sanitizer)
constexpr bool kSanitized = true;
#else
constexpr bool kSanitized = false;
#endif
#else
constexpr bool kSanitized = false;
#endif

/// Ends a process of this file: nothing of its parent's is flushed or destroyed; only a coverage build writes its counters.
[[noreturn]] void leave(int code) {
#ifdef UROKO_COVERAGE
  __gcov_dump();
#endif
  ::_exit(code);
}

/// Beside what the process maps already, the file and the finished picture.
constexpr std::size_t kWorkingBytes = std::size_t{512} << 20;

void limit(int what, rlim_t most) {
  const rlimit r{most, most};
  ::setrlimit(static_cast<__rlimit_resource>(what), &r);
}

std::size_t g_mapped = 0;  ///< address space when the child began

std::size_t mapped_now() {
  unsigned long pages = 0;
  std::FILE* f = std::fopen("/proc/self/statm", "re");
  if (f == nullptr) return 0;
  const bool read = std::fscanf(f, "%lu", &pages) == 1;
  std::fclose(f);
  return read ? pages * static_cast<std::size_t>(::sysconf(_SC_PAGESIZE)) : 0;
}

/// Soft limit only: the hard one was set before the size was known.
void limit_memory(std::size_t more) {
  if (kSanitized || g_mapped == 0) return;
  rlimit r{};
  ::getrlimit(RLIMIT_AS, &r);
  r.rlim_cur = std::min<rlim_t>(g_mapped + more, r.rlim_max);
  ::setrlimit(RLIMIT_AS, &r);
}

/// Of processor time, doubled for decoders that use several cores. SIGALRM ends the process by default, so that a decoder that waits for
/// ever is ended by the kernel; six times as long by the clock, because a busy machine must not make a sound photo a slow one.
void limit_time(unsigned seconds) {
  if (kSanitized) seconds *= 10;
  limit(RLIMIT_CPU, 2 * seconds);
  ::alarm(6 * seconds);
}

/// No file can be opened, made, removed or run from here on (Linux 5.13; without it the other limits hold).
void leave_file_system() {
#ifdef UROKO_COVERAGE
  return;  // counters are files
#endif
  landlock_ruleset_attr all{};
  all.handled_access_fs = (LANDLOCK_ACCESS_FS_MAKE_SYM << 1) - 1;  // every right of the first version
  const long rules = ::syscall(SYS_landlock_create_ruleset, &all, sizeof all.handled_access_fs, 0);
  if (rules < 0) return;
  ::syscall(SYS_landlock_restrict_self, rules, 0);
  ::close(static_cast<int>(rules));
}

void size_known(const Header& header) {
  const std::size_t picture = static_cast<std::size_t>(bytes_for(header.width, header.height, 3));
  limit_memory(kWorkingBytes + picture);
  limit_time(static_cast<unsigned>(5 + double(header.width) * double(header.height) / 2e6));
}

/// What a broken decoder would do; only tests ask for it.
void misbehave(Job::Deed deed) {
  if (deed == Job::Deed::crash) std::abort();
  if (deed == Job::Deed::sleep)
    for (::alarm(1);;) ::pause();
  if (deed == Job::Deed::spin) {
    ::alarm(1);
    for (volatile int turn = 0; turn == 0;) {
    }
  }
  if (deed == Job::Deed::hoard)
    // cppcheck-suppress leakNoVarFunctionCall ; it is meant to
    for (std::size_t all = 0; all < (std::size_t{64} << 30); all += std::size_t{64} << 20) std::memset(new char[std::size_t{64} << 20], 1, std::size_t{64} << 20);
}

std::string error_message(const std::string& code, const std::string& happened, const std::string& advice) {
  Answer answer;
  answer.kind = Answer::Kind::error;
  std::string out = bytes_of(answer);
  for (const auto& text : {code, happened, advice}) out += text.substr(0, 1000) + '\0';
  return out;
}

/// The child's whole life. Descriptors: 3 answers, 4 is the file.
[[noreturn]] void work(const Request& request) {
  ::prctl(PR_SET_NAME, "uroko-decode");
  ::signal(SIGINT, SIG_IGN);
  g_mapped = mapped_now();
  limit(RLIMIT_CORE, 0);
  limit(RLIMIT_NOFILE, 64);
  limit_time(10);
  ::mallopt(M_ARENA_MAX, 1);
  ::prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0);
  leave_file_system();
  const std::size_t size = request.bytes;
  if (!kSanitized && g_mapped != 0) {
    g_mapped += size;
    const auto most = static_cast<std::size_t>(request.job.limits.max_megapixels * 3e6) + kWorkingBytes;
    const rlimit r{g_mapped + kWorkingBytes, g_mapped + most};
    ::setrlimit(RLIMIT_AS, &r);
  }
  static const std::filesystem::path nowhere;
  std::string message;
  std::vector<int> descriptors;
  Loaded loaded;
  int pixels = -1;
  try {
    void* at = size > 0 ? ::mmap(nullptr, size, PROT_READ, MAP_PRIVATE | MAP_POPULATE, 4, 0) : nullptr;
    if (at == MAP_FAILED) throw std::bad_alloc();
    misbehave(request.job.deed);
    use_large_pages();
    loaded = decode_here(Source{{static_cast<const char*>(at), size}, nowhere}, request.job, size_known);
    Answer answer;
    answer.kind = Answer::Kind::photo;
    if (!loaded.bgr.empty()) {
      int pair[2];
      if (::pipe2(pair, O_CLOEXEC) != 0) throw std::runtime_error("no pipe");
      ::fcntl(pair[1], F_SETPIPE_SZ, 1 << 20);
      answer.rows = loaded.bgr.rows;
      answer.cols = loaded.bgr.cols;
      descriptors.push_back(pair[0]);
      pixels = pair[1];
    }
    message = bytes_of(answer) + packed(loaded.info);
    if (request.job.deed == Job::Deed::babble) message = std::string(300, '\x7f');
  } catch (const Error& e) {
    message = error_message(e.code(), e.happened(), e.advice());
  } catch (const std::bad_alloc&) {
    message = error_message("no-memory", "needs more memory than uroko gives one photo", "save the photo smaller");
  } catch (const std::exception& e) {
    message = error_message("damaged", std::string("is damaged (") + e.what() + ")", "copy it again from the camera or phone");
  }
  if (!send_message(3, message, descriptors)) leave(1);
  ::alarm(300);                                  // decoded: what is left is the asker's reading
  for (const int fd : descriptors) ::close(fd);  // so that an asker who went away ends the pipe
  if (pixels >= 0 && !send_pixels(pixels, loaded.bgr)) leave(1);
  leave(0);
}

/// Runs in the fork: keeps the two descriptors as 3 and 4 and nothing else.
[[noreturn]] void begin_child(const Request& request, Fd file, Fd reply) {
  sigset_t none;
  sigemptyset(&none);
  ::sigprocmask(SIG_SETMASK, &none, nullptr);
  const int high_reply = ::fcntl(reply.get(), F_DUPFD, 10), high_file = ::fcntl(file.get(), F_DUPFD, 10);
  if (high_reply < 0 || high_file < 0 || ::dup2(high_reply, 3) < 0 || ::dup2(high_file, 4) < 0) leave(1);
  reply.release();
  file.release();
  ::close_range(5, ~0U, 0);
  work(request);
}

}  // namespace

void serve_decoding(int socket) {
  ::prctl(PR_SET_NAME, "uroko-decoders");
  ::signal(SIGINT, SIG_IGN);  // the terminal's Ctrl-C is the program's to answer; this process ends when the program does
  ::signal(SIGPIPE, SIG_IGN);
  const int null = ::open("/dev/null", O_RDWR);
  for (const int fd : {0, 1, 2}) ::dup2(null, fd);
  if (socket != 3) {
    ::dup2(socket, 3);
    socket = 3;
  }
  ::close_range(4, ~0U, 0);
  ::fcntl(socket, F_SETFD, FD_CLOEXEC);
  sigset_t child_ended;
  sigemptyset(&child_ended);
  sigaddset(&child_ended, SIGCHLD);
  ::sigprocmask(SIG_BLOCK, &child_ended, nullptr);
  const int ended = ::signalfd(-1, &child_ended, SFD_CLOEXEC | SFD_NONBLOCK);
  std::map<pid_t, Fd> replies;
  std::string message;
  std::vector<Fd> descriptors;
  for (;;) {
    pollfd wait[2] = {{socket, POLLIN, 0}, {ended, POLLIN, 0}};
    if (::poll(wait, 2, -1) < 0) continue;
    if ((wait[1].revents & POLLIN) != 0) {
      signalfd_siginfo info;
      while (::read(ended, &info, sizeof info) == sizeof info) {
      }
      int status = 0;
      for (pid_t pid; (pid = ::waitpid(-1, &status, WNOHANG)) > 0;) {
        Answer died;
        died.status = status;
        if (const auto found = replies.find(pid); found != replies.end()) {
          send_message(found->second.get(), bytes_of(died), {}, MSG_DONTWAIT);  // after an answer nobody listens any more
          replies.erase(found);
        }
      }
    }
    if (wait[0].revents == 0) continue;
    if (!receive_message(socket, message, descriptors)) leave(0);
    Request request;
    if (!unpack(message, request) || descriptors.size() != 2) continue;
    const pid_t pid = ::fork();
    if (pid == 0) begin_child(request, std::move(descriptors[0]), std::move(descriptors[1]));
    if (pid > 0) replies.emplace(pid, std::move(descriptors[1]));
    descriptors.clear();  // a failed fork is seen as an end without an answer
  }
}

}  // namespace uroko::photo
