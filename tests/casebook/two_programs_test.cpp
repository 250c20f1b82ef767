#include <sys/wait.h>
#include <unistd.h>

#include <catch2/catch.hpp>

#include "casebook/database.h"
#include "support/temp_folder.h"
#include "uroko/casebook/keeping.h"

using namespace uroko;
using namespace uroko::casebook;
using uroko::testing::TempFolder;

namespace {

/// Runs f in a child process and gives its exit code; 99 when it throws.
template <class F> int in_child(F&& f) {
  const pid_t child = ::fork();
  if (child == 0) {
    int code = 99;
    try {
      code = f();
    } catch (...) {
    }
    ::_exit(code);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

}  // namespace

TEST_CASE("two programs may save in one book at once: every saved row of both is there") {
  TempFolder temp;
  const auto path = temp / "koi.uroko";
  Book::create(path);
  const int each = 20;
  std::vector<pid_t> children;
  for (const char* who : {"a", "b", "c"}) {
    const pid_t child = ::fork();
    if (child == 0) {
      int code = 1;
      try {
        auto book = Book::open(path);
        book.database().set_patience(60000);
        for (int k = 0; k < each; ++k) book.add(Fish{0, who + std::to_string(k)});
        code = 0;
      } catch (...) {
      }
      ::_exit(code);
    }
    children.push_back(child);
  }
  for (const pid_t child : children) {
    int status = 0;
    ::waitpid(child, &status, 0);
    CHECK(status == 0);
  }
  CHECK(Book::open(path).fish().size() == 3 * each);
  CHECK(check(path).ok());
}

TEST_CASE("a book held by another program: reading works, saving says who holds it and changes nothing") {
  TempFolder temp;
  const auto path = temp / "koi.uroko";
  auto book = Book::create(path);
  book.add(Fish{0, "A"});
  Book::Step step(book, "Held");
  book.add(Fish{0, "B"});
  const auto holder = "process " + std::to_string(::getpid());
  CHECK(in_child([&] {
          const auto reader = Book::open(path, Access::read);
          return reader.fish().size() == 1 ? 0 : 1;
        }) == 0);
  CHECK(in_child([&] {
          auto writer = Book::open(path);
          writer.database().set_patience(50);
          try {
            writer.add(Fish{0, "C"});
            return 1;
          } catch (const Error& e) {
            if (e.code() != "locked" || e.exit_code() != 4) return 2;
            return std::string(e.what()).find(holder) == std::string::npos ? 3 : 0;
          }
        }) == 0);
  step.commit();
  CHECK(Book::open(path, Access::read).fish().size() == 2);
}

TEST_CASE("a folder that cannot be written opens read-only with a word about it") {
  TempFolder temp;
  const auto path = temp / "koi.uroko";
  {
    auto book = Book::create(path);
    book.add(Fish{0, "A"});
  }
  namespace fs = std::filesystem;
  fs::permissions(temp.path(), fs::perms::owner_all | fs::perms::group_exec | fs::perms::others_exec | fs::perms::others_read);
  fs::permissions(path / "book.sqlite", fs::perms::owner_read | fs::perms::others_read);
  fs::permissions(path, fs::perms::owner_read | fs::perms::owner_exec | fs::perms::others_read | fs::perms::others_exec);
  // root writes anywhere, so the child becomes nobody.
  CHECK(in_child([&] {
          if (::geteuid() == 0 && (::setegid(65534) != 0 || ::seteuid(65534) != 0)) return 5;
          // access(2) asks for the real user.
          if (::getuid() == 0 && (::seteuid(0) != 0 || ::setgid(65534) != 0 || ::setuid(65534) != 0)) return 6;
          auto book = Book::open(path);
          if (!book.read_only() || book.warnings().empty() || book.warnings()[0].code != "read-only") return 1;
          if (book.fish().size() != 1) return 2;
          try {
            book.add(Fish{0, "B"});
            return 3;
          } catch (const Error& e) {
            return e.exit_code() == 4 ? 0 : 4;
          }
        }) == 0);
  fs::permissions(path, fs::perms::owner_all);
}
