// The fuzz targets without libFuzzer, for CTest and for compilers that have none: the stored corpus, then inputs made from it by a small
// deterministic mutator. Run k always makes the same input.
//   test_fuzz TARGET CORPUS_FOLDER RUNS      test_fuzz TARGET CORPUS_FOLDER --only K      test_fuzz TARGET FILE...
#include <algorithm>
#include <array>
#include <csignal>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <string>
#include <vector>

#include <unistd.h>

#include "uroko/base/random.h"

// One line a target, written by CMake.
#define FUZZ_TARGET(name) extern "C" int fuzz_##name(const std::uint8_t* data, std::size_t size);
#include "fuzz_targets.inc"
#undef FUZZ_TARGET

namespace {

namespace fs = std::filesystem;
using uroko::Random;

std::string read(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

std::string mutated(Random& random, const std::vector<std::string>& seeds) {
  constexpr std::array<const char*, 12> words = {"-1", "0", "1e308", "nan", "\xFF\xFF\xFF\xFF", "2147483648", "9223372036854775808", "(", "\"", ",", "\n", "{"};
  const auto below = [&](std::size_t n) { return n == 0 ? 0 : static_cast<std::size_t>(random.index(static_cast<int>(n))); };
  std::string out = seeds[below(seeds.size())];
  for (int k = random.index(6); k >= 0; --k) {
    const std::size_t at = below(out.size() + 1);
    switch (random.index(8)) {
      case 0:
        if (at < out.size()) out[at] = static_cast<char>(out[at] ^ (1 << random.index(8)));
        break;
      case 1:
        if (at < out.size()) out[at] = static_cast<char>(random.index(256));
        break;
      case 2: out.erase(at, below(16) + 1); break;
      case 3: out.insert(at, out.substr(below(out.size() + 1), below(40))); break;
      case 4: out.insert(at, words[below(words.size())]); break;
      case 5: {
        const auto& other = seeds[below(seeds.size())];
        out = out.substr(0, at) + other.substr(below(other.size() + 1));
        break;
      }
      case 6: out.resize(at); break;
      case 7:
        if (at + 2 < out.size()) {
          const int value = std::array{0, 1, 0x7fff, 0x8000, 0xffff}[below(5)];
          out[at] = static_cast<char>(value >> 8), out[at + 1] = static_cast<char>(value & 255);
        }
        break;
    }
  }
  if (out.size() > 8192) out.resize(8192);
  return out;
}

char g_where[200];

void tell(int signal) {
  (void)!::write(2, g_where, std::strlen(g_where));
  ::signal(signal, SIG_DFL);
  ::raise(signal);
}

}  // namespace

int main(int argc, char** argv) {
  std::map<std::string, int (*)(const std::uint8_t*, std::size_t)> targets;
#define FUZZ_TARGET(name) targets[#name] = fuzz_##name;
#include "fuzz_targets.inc"
#undef FUZZ_TARGET
  if (argc < 3 || !targets.contains(argv[1])) {
    std::fprintf(stderr, "usage: test_fuzz TARGET CORPUS_FOLDER RUNS; targets:");
    for (const auto& [name, target] : targets) std::fprintf(stderr, " %s", name.c_str());
    std::fprintf(stderr, "\n");
    return 2;
  }
  for (const int signal : {SIGABRT, SIGSEGV, SIGBUS, SIGFPE}) ::signal(signal, tell);
  const auto target = targets[argv[1]];
  const auto run = [&](const std::string& input, const std::string& where) {
    std::snprintf(g_where, sizeof g_where, "fuzz target %s broke on %s\n", argv[1], where.c_str());
    target(reinterpret_cast<const std::uint8_t*>(input.data()), input.size());
  };
  if (!fs::is_directory(argv[2])) {
    for (int k = 2; k < argc; ++k) run(read(argv[k]), argv[k]);
    return 0;
  }
  std::vector<fs::path> files;
  for (const auto& entry : fs::directory_iterator(argv[2])) files.push_back(entry.path());
  std::sort(files.begin(), files.end());
  std::vector<std::string> seeds;
  const bool only = argc > 4 && std::strcmp(argv[3], "--only") == 0;
  for (const auto& file : files) {
    seeds.push_back(read(file));
    if (!only) run(seeds.back(), file.string());
  }
  if (seeds.empty()) {
    std::fprintf(stderr, "%s holds no seed\n", argv[2]);
    return 1;
  }
  const int first = only ? std::atoi(argv[4]) : 0, last = only ? first : (argc > 3 ? std::atoi(argv[3]) : 1000) - 1;
  for (int k = first; k <= last; ++k) {
    Random random(static_cast<std::uint64_t>(k) + 1);
    run(mutated(random, seeds), "run " + std::to_string(k) + " (test_fuzz " + argv[1] + " CORPUS --only " + std::to_string(k) + ")");
  }
  std::printf("%zu seeds and %d inputs made from them: nothing broke\n", seeds.size(), last - first + 1);
  return 0;
}
