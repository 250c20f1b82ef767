// ctest: --short
// Memory that runs out: the N-th allocation fails, for every N until none is left to fail, while a photo is loaded, a case book is written and a
// sheet is made. Each ends in one error (or works all the same), nothing crashes, and the book is as before or as after.
//   bench_allocation            every N, counts as a Markdown table (assets/guide/fuzzing.md)
//   bench_allocation --short    every 61st, for CTest
//   bench_allocation --only "import photos" [EVERY]    one operation, every EVERYth allocation (1)
//   bench_allocation --at "import photos" 1234 [all]    one failure, in this process, for a debugger
// Two ways: that one allocation fails, or it and all after it until the error is told.
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <cstring>

#include "../support/temp_folder.h"
#include "book_operations.h"
#include "uroko/base/error.h"
#include "uroko/photo/photo.h"

#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
#define UROKO_OWN_MALLOC 0
#else
#define UROKO_OWN_MALLOC 1
#endif

namespace {
// Counted in the thread that asks only: the libraries' own threads may allocate as they like.
thread_local long t_countdown = -1;  // < 0: not counting
thread_local bool t_for_good = false;
thread_local long t_seen = 0;

[[maybe_unused]] bool fails() {
  if (t_countdown < 0) return false;
  ++t_seen;
  if (t_countdown > 0) {
    --t_countdown;
    return false;
  }
  if (!t_for_good) t_countdown = -2;
  errno = ENOMEM;
  return true;
}
}  // namespace

#if UROKO_OWN_MALLOC
// glibc's own, under the names it keeps for replacements (glibc manual, 3.2.5 Replacing malloc).
extern "C" {
void* __libc_malloc(std::size_t);
void* __libc_calloc(std::size_t, std::size_t);
void* __libc_realloc(void*, std::size_t);
void* __libc_memalign(std::size_t, std::size_t);
void* malloc(std::size_t size) { return fails() ? nullptr : __libc_malloc(size); }
void* calloc(std::size_t n, std::size_t size) { return fails() ? nullptr : __libc_calloc(n, size); }
void* realloc(void* old, std::size_t size) { return fails() ? nullptr : __libc_realloc(old, size); }
void* memalign(std::size_t align, std::size_t size) { return fails() ? nullptr : __libc_memalign(align, size); }
void* aligned_alloc(std::size_t align, std::size_t size) { return fails() ? nullptr : __libc_memalign(align, size); }
int posix_memalign(void** out, std::size_t align, std::size_t size) {
  if (fails()) return ENOMEM;
  *out = __libc_memalign(align, size);
  return *out == nullptr ? ENOMEM : 0;
}
}
#endif

using namespace uroko;
using namespace uroko::faults;
using uroko::testing::TempFolder;

namespace {

enum Ended { worked = 0, refused = 1, no_memory = 2, other_error = 3 };

template <class F>
int guarded(F&& work, long n, bool for_good) {
  t_countdown = n, t_for_good = for_good, t_seen = 0;
  int code = worked;
  try {
    work();
  } catch (const Error&) {
    t_countdown = -1;
    code = refused;
  } catch (const std::bad_alloc&) {
    t_countdown = -1;
    code = no_memory;
  } catch (const std::exception& e) {
    t_countdown = -1;
    std::fprintf(stderr, "%s\n", e.what());
    code = other_error;
  }
  t_countdown = -1;
  return code;
}

struct Counts {
  long allocations = 0;
  int runs = 0, worked = 0, refused = 0, wrong = 0;
};

/// In a child, so that a crash is counted. Gives the exit code, or 128 + signal.
template <class F>
int in_child(F&& work, long n, bool for_good) {
  std::fflush(stdout);
  const pid_t child = ::fork();
  if (child == 0) {
    ::alarm(60);
    ::_exit(guarded(work, n, for_good));
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

/// How many allocations the work makes when none fails.
template <class F>
long counted(F&& work) {
  guarded(work, 1L << 60, false);
  return t_seen;
}

void book_operation(const std::string& operation, long stride, Counts& counts, std::vector<std::string>& trouble) {
  TempFolder temp;
  make_template(temp / "base", operation == "migrate");
  const auto fresh = [&](const fs::path& to) {
    std::error_code gone;
    fs::remove_all(to, gone);
    fs::copy(temp / "base", to, fs::copy_options::recursive);
    return to;
  };
  const auto before = digest(operation, fresh(temp / "t"));
  fresh(temp / "t");
  counts.allocations = counted([&] { operate(operation, temp / "t"); });
  const auto after = digest(operation, temp / "t");
  for (const bool for_good : {false, true})
    for (long n = 0; n < counts.allocations; n += stride) {
      fresh(temp / "t");
      const int code = in_child([&] { operate(operation, temp / "t"); }, n, for_good);
      ++counts.runs;
      const auto found = digest(operation, temp / "t");
      const bool sound = code == worked ? found == after : found == before || found == after;
      counts.worked += code == worked;
      counts.refused += code == refused || code == no_memory;
      if (!sound || code > no_memory) {
        ++counts.wrong;
        trouble.push_back(operation + ", allocation " + std::to_string(n) + (for_good ? " and all after" : "") + ": ended with " + std::to_string(code) + (sound ? "" : ", and left " + found.substr(0, 160)));
      }
    }
}

void loading(const std::string& name, const std::string& bytes, long stride, Counts& counts, std::vector<std::string>& trouble) {
  const auto load = [&] { (void)photo::load_bytes(bytes, name); };
  load();  // what is made once and kept
  counts.allocations = counted(load);
  for (const bool for_good : {false, true})
    for (long n = 0; n < counts.allocations; n += stride) {
      const int code = in_child(load, n, for_good);
      ++counts.runs;
      counts.worked += code == worked;
      counts.refused += code == refused || code == no_memory;
      if (code > no_memory) {
        ++counts.wrong;
        trouble.push_back("loading " + name + ", allocation " + std::to_string(n) + (for_good ? " and all after" : "") + ": ended with " + std::to_string(code));
      }
    }
}

}  // namespace

int main(int argc, char** argv) {
  if (!UROKO_OWN_MALLOC) {
    std::printf("a sanitizer has its own allocator here: nothing can be made to fail\n");
    return 0;
  }
  const bool brief = argc > 1 && std::strcmp(argv[1], "--short") == 0;
  const std::string only = argc >= 3 && std::strcmp(argv[1], "--only") == 0 ? argv[2] : "";
  const long every = !only.empty() && argc > 3 ? std::max(1L, std::atol(argv[3])) : 1;
  cv::setNumThreads(1);
  if (argc >= 4 && std::strcmp(argv[1], "--at") == 0) {
    TempFolder temp;
    make_template(temp / "t", std::strcmp(argv[2], "migrate") == 0);
    return guarded([&] { operate(argv[2], temp / "t"); }, std::atol(argv[3]), argc > 4);
  }
  std::vector<std::string> trouble;
  std::printf("| what | allocations | runs | worked all the same | one error | wrong (crash, hang, neither before nor after) |\n| --- | --- | --- | --- | --- | --- |\n");
  const auto print = [&](const std::string& name, const Counts& c) {
    std::printf("| %s | %ld | %d | %d | %d | %d |\n", name.c_str(), c.allocations, c.runs, c.worked, c.refused, c.wrong);
    std::fflush(stdout);
  };
  const auto wanted = [&](const std::string& name) { return only.empty() || only == name; };
  for (const std::string name : {"a_jpg", "p_jpg", "c_jpg", "exif_jpg", "a_png", "lzw_tif", "a_webp", "a_heic"}) {  // small pictures of each format
    if (!wanted("loading " + name)) continue;
    Counts counts;
    loading(name, read_file(fs::path(UROKO_SOURCE) / "tests/fuzz/corpus/photo" / name), brief ? 7 : every, counts, trouble);
    print("loading " + name, counts);
  }
  for (const auto& operation : kOperations) {
    if (!wanted(operation) || (brief && operation != "import photos" && operation != "edit")) continue;
    Counts counts;
    book_operation(operation, brief ? 61 : every, counts, trouble);
    print(operation, counts);
  }
  for (std::size_t k = 0; k < trouble.size() && k < 40; ++k) std::fprintf(stderr, "%s\n", trouble[k].c_str());
  return trouble.empty() ? 0 : 1;
}
