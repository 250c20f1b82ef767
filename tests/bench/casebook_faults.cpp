// ctest: --short
// The case book under faults: killed at every write, I/O errors, full disk, damaged and cut files.
//   bench_casebook_faults            the full form, counts as a Markdown table (assets/guide/casebook.md)
//   bench_casebook_faults --short    a sample of the same, for CTest
//   bench_casebook_faults --only "import photos"    one operation, or "damage"
//   bench_casebook_faults --do OPERATION FOLDER    one operation; exit code 42 means "saved"
#include <fcntl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <functional>
#include <map>

#include "../support/command.h"
#include "../support/sanitized.h"
#include "../support/temp_folder.h"
#include "book_operations.h"
#include "uroko/base/file.h"
#include "uroko/base/random.h"
#include "uroko/casebook/keeping.h"

using namespace uroko;
using namespace uroko::casebook;
using namespace uroko::faults;
using uroko::testing::TempFolder;
namespace fs = std::filesystem;

namespace {

int run(const std::vector<std::string>& command) {
  const pid_t child = ::fork();
  if (child == 0) {
    const int null = ::open("/dev/null", O_RDWR);
    for (const int fd : {0, 1, 2}) ::dup2(null, fd);
    ::setenv("ASAN_OPTIONS", "detect_leaks=0", 1);  // for the build that has it: it cannot look for leaks under strace
    uroko::testing::become(command);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

struct Counts {
  int runs = 0, before = 0, after = 0, saved = 0, wrong = 0;
};

/// The calls that change a disk, one by one: strace counts each call's occurrences for itself.
const std::vector<std::string> kCalls = {"fsync", "fdatasync", "pwrite64", "write", "rename", "renameat", "renameat2", "unlink", "unlinkat", "rmdir", "mkdir", "ftruncate", "fchmod", "chmod"};

Counts kill_everywhere(const std::string& operation, const fs::path& base, int stride, std::vector<std::string>& trouble) {
  Counts counts;
  const auto copy = [&](const fs::path& to) { fs::copy(base, to, fs::copy_options::recursive); };
  const std::string self = fs::read_symlink("/proc/self/exe");
  std::string before, after;
  {
    TempFolder temp;
    copy(temp / "t");
    before = digest(operation, temp / "t");
  }
  // Looking at an old book brings it up, so that both digests are the new book's: nothing of the old one may be missing there.
  std::map<std::string, int> calls;
  {
    TempFolder temp;
    copy(temp / "t");
    for (const auto& call : kCalls) {
      TempFolder again;
      copy(again / "t");
      if (run({"strace", "-f", "-qq", "-o", (again / "log").string(), "-e", "trace=" + call, self, "--do", operation, (again / "t").string()}) != kSaved) {
        trouble.push_back(operation + ": does not even work under strace");
        return counts;
      }
      std::ifstream log(again / "log");
      std::string line;
      while (std::getline(log, line)) ++calls[call];
    }
    if (run({self, "--do", operation, (temp / "t").string()}) != kSaved) trouble.push_back(operation + ": does not work");
    after = digest(operation, temp / "t");
  }
  // The stored old book comes without its two photos, which check says both times.
  if (after.find("BROKEN") != std::string::npos && operation != "migrate") trouble.push_back(operation + ": " + after);
  for (const auto& call : kCalls)
    for (const std::string fault : {"signal=KILL", "error=EIO", "error=ENOSPC"})
      for (int n = 1; n <= calls[call]; n += stride) {
        // UndefinedBehaviorSanitizer asks by a write into a pipe whether an object's memory can be read, and ends the program where that fails.
        if (uroko::testing::sanitized && call == "write" && fault != "signal=KILL") continue;
        TempFolder temp;
        copy(temp / "t");
        const int code = run({"strace", "-f", "-qq", "-o", "/dev/null", "-e", "trace=" + call, "-e", "inject=" + call + ":" + fault + ":when=" + std::to_string(n), self, "--do", operation,
                              (temp / "t").string()});
        ++counts.runs;
        const bool saved = code == kSaved;
        counts.saved += saved;
        const auto found = digest(operation, temp / "t");
        const auto where = operation + ", " + call + " " + fault + " at " + std::to_string(n) + ": ";
        const bool is_after = found == after, is_before = found == before;
        counts.after += is_after;
        counts.before += !is_after && is_before;
        if (!is_after && !is_before) {
          ++counts.wrong;
          trouble.push_back(where + "neither before nor after: " + found.substr(0, 200));
        }
        if (saved && !is_after) {
          ++counts.wrong;
          trouble.push_back(where + "said saved and was not");
        }
        if (saved && (call == "fsync" || call == "fdatasync")) {
          ++counts.wrong;
          trouble.push_back(where + "said saved after a failed fsync");
        }
        if (code != kSaved && code != 4 && code != 3 && code != 128 + SIGKILL) {
          ++counts.wrong;
          trouble.push_back(where + "ended with code " + std::to_string(code));
        }
      }
  return counts;
}

std::string bytes_of_folder(const fs::path& folder) {
  std::map<std::string, std::string> files;
  for (const auto& entry : fs::recursive_directory_iterator(folder))
    if (entry.is_regular_file()) files[entry.path().string()] = read_file(entry.path());
  std::string out;
  for (const auto& [name, bytes] : files) out += name + sha256_hex(bytes);
  return out;
}

/// In a child, so that a crash is counted and not fatal: 0 refused, 1 read the same, 2 read with other values, 3 changed on disk, 4 another error; signals as 128 + n.
int open_damaged(const fs::path& path, Access access, const std::string& good) {
  std::fflush(stdout);
  const pid_t child = ::fork();
  if (child == 0) {
    ::alarm(60);
    const auto bytes = bytes_of_folder(path);
    int code = 4;
    try {
      const auto book = Book::open(path, access);
      std::string text = to_csv(book);
      for (const auto& step : book.history()) text += step.label;
      code = text == good ? 1 : 2;
    } catch (const Error& e) {
      code = e.fault() == Fault::book ? 0 : 4;
    } catch (const std::exception&) {
    }
    if (bytes_of_folder(path) != bytes) code = 3;
    ::_exit(code);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

struct Damage {
  int runs = 0, refused = 0, same = 0, other = 0, wrong = 0;
  void count(int code, const std::string& where, std::vector<std::string>& trouble) {
    ++runs;
    if (code == 0) ++refused;
    else if (code == 1) ++same;
    else if (code == 2) ++other;
    else {
      ++wrong;
      trouble.push_back(where + ": code " + std::to_string(code));
    }
  }
};

void print(const char* name, const Damage& d) { std::printf("| %s | %d | %d | %d | %d | %d |\n", name, d.runs, d.refused, d.same, d.other, d.wrong); }

}  // namespace

int main(int argc, char** argv) {
  if (argc == 4 && std::strcmp(argv[1], "--do") == 0) {
    try {
      operate(argv[2], argv[3]);
      return kSaved;
    } catch (const Error& e) {
      return e.exit_code();
    } catch (const std::exception&) {
      return 5;
    }
  }
  const bool brief = argc > 1 && std::strcmp(argv[1], "--short") == 0;
  const std::string only = argc == 3 && std::strcmp(argv[1], "--only") == 0 ? argv[2] : "";
  std::vector<std::string> trouble;

  if (only == "damage") {
  } else if (run({"strace", "-qq", "-o", "/dev/null", "true"}) != 0) {
    std::printf("strace cannot trace here: the kill and I/O-error part is skipped\n");
  } else {
    std::printf("| operation | runs | reopened as before | reopened as after | said saved | wrong |\n| --- | --- | --- | --- | --- | --- |\n");
    Counts all;
    for (const auto& operation : kOperations) {
      if ((brief && operation != "edit" && operation != "import photos" && operation != "table") || (!only.empty() && operation != only)) continue;
      TempFolder temp;
      make_template(temp / "base", operation == "migrate");
      const auto c = kill_everywhere(operation, temp / "base", brief && operation != "table" ? 7 : 1, trouble);
      std::printf("| %s | %d | %d | %d | %d | %d |\n", operation.c_str(), c.runs, c.before, c.after, c.saved, c.wrong);
      std::fflush(stdout);
      all.runs += c.runs, all.before += c.before, all.after += c.after, all.saved += c.saved, all.wrong += c.wrong;
    }
    if (uroko::testing::sanitized) std::printf("| (no errors of write: the sanitizer has writes of its own) | | | | | |\n");
    std::printf("| all | %d | %d | %d | %d | %d |\n\n", all.runs, all.before, all.after, all.saved, all.wrong);
  }

  const auto end = [&] {
    for (const auto& line : trouble) std::fprintf(stderr, "%s\n", line.c_str());
    return trouble.empty() ? 0 : 1;
  };
  if (!only.empty() && only != "damage") return end();
  TempFolder temp;
  make_template(temp / "base", false);
  const auto path = temp / "base" / "koi.uroko";
  const auto file = path / "book.sqlite";
  const auto bytes = read_file(file);
  std::string good;
  {
    const auto book = Book::open(path, Access::read);
    good = to_csv(book);
    for (const auto& step : book.history()) good += step.label;
  }
  const auto put = [&](const std::string& text) {
    std::ofstream out(file, std::ios::binary | std::ios::trunc);
    out << text;
  };
  std::printf("| damage | openings | refused, code 4 | read the same | read other values | wrong (crash, hang, changed on disk) |\n| --- | --- | --- | --- | --- | --- |\n");
  Damage read, write, rescue, cut;
  const int seeds = brief ? 25 : 1000;
  for (int seed = 1; seed <= seeds; ++seed) {
    Random random(static_cast<std::uint64_t>(seed));
    auto damaged = bytes;
    const int count = 1 << random.index(8);
    for (int k = 0; k < count; ++k) damaged[static_cast<std::size_t>(random.index(static_cast<int>(damaged.size())))] = static_cast<char>(random.index(256));
    put(damaged);
    const auto where = "seed " + std::to_string(seed);
    read.count(open_damaged(path, Access::read, good), where + " read", trouble);
    write.count(open_damaged(path, Access::write, good), where + " write", trouble);
    rescue.count(open_damaged(path, Access::rescue, good), where + " rescue", trouble);
  }
  const int cuts = brief ? 10 : 200;
  for (int k = 0; k < cuts; ++k) {
    put(bytes.substr(0, bytes.size() * static_cast<std::size_t>(k) / static_cast<std::size_t>(cuts)));
    cut.count(open_damaged(path, Access::write, good), "cut " + std::to_string(k), trouble);
  }
  print("1 to 128 random bytes, reading", read);
  print("the same, opened for writing", write);
  print("the same, rescue", rescue);
  print("cut short, opened for writing", cut);

  return end();
}
