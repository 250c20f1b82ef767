#include <sys/resource.h>
#include <sys/stat.h>
#include <csignal>

#include <catch2/catch.hpp>
#include <fstream>

#include "support/temp_folder.h"
#include "uroko/base/error.h"
#include "uroko/base/file.h"

using namespace uroko;

TEST_CASE("SHA-256 gives the published digests") {
  // FIPS 180-4 examples: "abc" and the empty message.
  CHECK(sha256_hex("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(sha256_hex("") == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}

TEST_CASE("a file is written whole, and replaces what stood there") {
  const testing::TempFolder folder;
  write_file_whole(folder / "a.txt", "one");
  write_file_whole(folder / "a.txt", "two");
  CHECK(read_file(folder / "a.txt") == "two");
  CHECK(std::distance(std::filesystem::directory_iterator(folder.path()), {}) == 1);
}

TEST_CASE("when the disk refuses a write, the old file stays and nothing else is left") {
  const testing::TempFolder folder;
  write_file_whole(folder / "a.txt", "old");
  rlimit before{};
  getrlimit(RLIMIT_FSIZE, &before);
  std::signal(SIGXFSZ, SIG_IGN);
  rlimit small = before;
  small.rlim_cur = 1000;
  setrlimit(RLIMIT_FSIZE, &small);
  CHECK_THROWS_AS(write_file_whole(folder / "a.txt", std::string(5000, 'x')), Error);
  setrlimit(RLIMIT_FSIZE, &before);
  CHECK(read_file(folder / "a.txt") == "old");
  CHECK(std::distance(std::filesystem::directory_iterator(folder.path()), {}) == 1);
}

TEST_CASE("reading says which file and why not") {
  const testing::TempFolder folder;
  try {
    read_file(folder / "none.jpg");
    FAIL("a missing file was read");
  } catch (const Error& e) {
    CHECK(e.exit_code() == 3);
    CHECK(e.code() == "missing");
    CHECK_THAT(e.what(), Catch::Contains("none.jpg") && Catch::Contains("no such file"));
  }
  CHECK_THROWS_AS(read_file(folder.path()), Error);
  write_file_whole(folder / "big", std::string(2048, 'x'));
  CHECK_THROWS_AS(read_file(folder / "big", 1024), Error);
}
