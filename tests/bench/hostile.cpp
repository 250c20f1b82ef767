// ctest: --short
// Hostile photos given to the command, one process each: how it ends, how long it computes, how much memory its largest process takes.
//   bench_hostile            all, as a Markdown table (assets/guide/fuzzing.md)
//   bench_hostile --short    a tenth of it, for CTest
// Wrong is: a signal, an exit code other than 0 (measured), 1 (nothing to measure found) or 3 (the file is refused), more or fewer than one line of error
// with 1 and 3, more than 1 s of processor time (where that is more, 2.5 times what a sound photo takes in the same run), more than 500 MB (10 s and 2 000 MB under a sanitizer).
#include <fcntl.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>
#include <zlib.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cstdio>
#include <cstring>
#include <functional>
#include <map>
#include <opencv2/core.hpp>

#include "../support/sanitized.h"
#include "../support/temp_folder.h"
#include "uroko/base/file.h"
#include "uroko/base/random.h"
#include "uroko/photo/photo.h"

using namespace uroko;
namespace fs = std::filesystem;

namespace {

constexpr double kMostSeconds = testing::sanitized ? 10 : 1, kMostMb = testing::sanitized ? 2000 : 500;
/// On a slow machine a file may take so many times what a sound photo, of noise that looks everywhere like the edge of a marker, takes in the same run.
/// Where that is 0.4 s, it is 1 s.
constexpr double kMostOfSound = 2.5;

struct Group {
  int runs = 0, refused = 0, opened = 0, wrong = 0;
  double cpu_s = 0, wall_s = 0, mb = 0;
};

struct Stage {
  testing::TempFolder folder;
  std::map<std::string, Group> groups;
  std::vector<std::string> order, trouble;
  double most_seconds = kMostSeconds;  ///< of processor time for a file

  void give(const std::string& group, const std::string& name, const std::string& bytes) {
    const auto file = folder / name;
    std::error_code ignored;
    fs::remove(file, ignored);
    std::FILE* f = std::fopen(file.c_str(), "wb");
    std::fwrite(bytes.data(), 1, bytes.size(), f);
    std::fclose(f);
    ask(group, file, name);
  }

  /// Processor time, s. `must_open`: the photo is sound, its extras may not be.
  double ask(const std::string& group, const fs::path& file, const std::string& what, bool must_open = false) {
    if (!groups.contains(group)) order.push_back(group);
    auto& g = groups[group];
    const auto errors = folder / "stderr.txt";
    const auto start = std::chrono::steady_clock::now();
    const pid_t child = ::fork();
    if (child == 0) {
      const int null = ::open("/dev/null", O_RDWR), log = ::open(errors.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0644);
      ::dup2(null, 0), ::dup2(null, 1), ::dup2(log, 2);
      ::alarm(60);
      ::execl(UROKO_COMMAND, "uroko", "measure", file.c_str(), "--auto", static_cast<char*>(nullptr));
      ::_exit(127);
    }
    int status = 0;
    rusage used{};  // of the process and the decoders that it waited for
    ::wait4(child, &status, 0, &used);
    const double wall = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
    const double cpu = double(used.ru_utime.tv_sec + used.ru_stime.tv_sec) + double(used.ru_utime.tv_usec + used.ru_stime.tv_usec) * 1e-6;
    const double mb = double(used.ru_maxrss) / 1024;
    const int code = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
    const auto said = read_file(errors);
    const auto lines = std::count(said.begin(), said.end(), '\n');
    ++g.runs;
    g.refused += code == 3;
    g.opened += code == 0 || code == 1;
    g.cpu_s = std::max(g.cpu_s, cpu), g.wall_s = std::max(g.wall_s, wall), g.mb = std::max(g.mb, mb);
    const bool ended_well = (code == 0 || code == 1 || code == 3) && (code == 0 || (lines == 1 && said.starts_with("uroko: ")));
    if (!ended_well || cpu > most_seconds || mb > kMostMb || (must_open && code == 3)) {
      ++g.wrong;
      trouble.push_back(group + ", " + what + ": code " + std::to_string(code) + ", " + std::to_string(cpu) + " s, " + std::to_string(mb) + " MB: " + said.substr(0, 160));
    }
    return cpu;
  }
};

std::string be32(std::uint32_t v) { return {char(v >> 24), char(v >> 16), char(v >> 8), char(v)}; }
std::string le32(std::uint32_t v) { return {char(v), char(v >> 8), char(v >> 16), char(v >> 24)}; }

std::string chunk(const std::string& kind, const std::string& data) {
  const std::string body = kind + data;
  return be32(static_cast<std::uint32_t>(data.size())) + body + be32(static_cast<std::uint32_t>(::crc32(0, reinterpret_cast<const Bytef*>(body.data()), static_cast<uInt>(body.size()))));
}

std::string deflated(const std::string& data) {
  uLongf size = ::compressBound(data.size());
  std::string out(size, '\0');
  ::compress2(reinterpret_cast<Bytef*>(out.data()), &size, reinterpret_cast<const Bytef*>(data.data()), data.size(), 9);
  out.resize(size);
  return out;
}

std::string png(std::uint32_t width, std::uint32_t height, int colour, const std::string& extra, const std::string& coded) {
  return "\x89PNG\r\n\x1a\n" + chunk("IHDR", be32(width) + be32(height) + std::string{8, char(colour), 0, 0, 0}) + extra + chunk("IDAT", coded) + chunk("IEND", "");
}

std::string with_segment(const std::string& jpeg, int marker, const std::string& payload) {
  const auto length = payload.size() + 2;
  return jpeg.substr(0, 2) + std::string{'\xFF', char(marker), char(length >> 8), char(length & 255)} + payload + jpeg.substr(2);
}

/// A little-endian TIFF with this one directory: tag, type, count, value or offset.
std::string tiff(const std::vector<std::array<std::uint32_t, 4>>& entries, std::uint32_t next, const std::string& behind) {
  std::string out = std::string("II*\0", 4) + le32(8) + std::string{char(entries.size()), char(entries.size() >> 8)};
  for (const auto& e : entries) out += std::string{char(e[0]), char(e[0] >> 8), char(e[1]), char(e[1] >> 8)} + le32(e[2]) + le32(e[3]);
  return out + le32(next) + behind;
}

std::string replaced(std::string bytes, const std::string& from, std::size_t skip, const std::string& to) {
  const auto at = bytes.find(from);
  if (at != std::string::npos && at + skip + to.size() <= bytes.size()) bytes.replace(at + skip, to.size(), to);
  return bytes;
}

}  // namespace

int main(int argc, char** argv) {
  const bool brief = argc > 1 && std::strcmp(argv[1], "--short") == 0;
  Stage stage;
  const fs::path corpus = fs::path(UROKO_SOURCE) / "tests/fuzz/corpus/photo";
  std::map<std::string, std::string> good;
  for (const auto& entry : fs::directory_iterator(corpus)) good[entry.path().filename()] = read_file(entry.path());
  cv::Mat large(900, 1200, CV_8UC3);
  cv::RNG(3).fill(large, cv::RNG::UNIFORM, 0, 255);
  good["large_jpg"] = photo::encode_jpeg(large, 80);
  good["large_png"] = photo::encode_png(large);
  const std::string jpeg = good.at("a_jpg");
  write_file_whole(stage.folder / "large.jpg", good.at("large_jpg"));
  stage.most_seconds = 60;
  const double took = stage.ask("a sound photo, for comparison", stage.folder / "large.jpg", "large.jpg", true);
  stage.most_seconds = std::max(kMostSeconds, kMostOfSound * took);

  Random random(5);
  for (const auto& [name, bytes] : good) {
    for (int percent = 0; percent < 100; percent += brief ? 49 : 1) stage.give("cut at every 1 % of its length", name, bytes.substr(0, bytes.size() * std::size_t(percent) / 100));
    for (int k = 0; k < (brief ? 2 : 60); ++k) {
      auto hurt = bytes;
      for (int n = 1 << random.index(6); n > 0; --n) hurt[std::size_t(random.index(int(hurt.size())))] = char(random.index(256));
      stage.give("1 to 32 random bytes", name, hurt);
    }
    for (int k = 0; k < (brief ? 1 : 10); ++k) {
      std::string noise = bytes.substr(0, 16);
      for (int n = random.index(4000); n > 0; --n) noise += char(random.index(256));
      stage.give("noise behind a right beginning", name, noise);
    }
    if (brief && name != "a_jpg" && name != "a_png" && name != "a_heic") continue;
    stage.give("wrong extension", name.ends_with("jpg") ? "wrong.png" : "wrong.jpg", bytes);
    stage.give("two files in one", "photo-archive.jpg", bytes + "PK\3\4" + std::string(200, 'x'));
    stage.give("two files in one", "archive-photo.jpg", "PK\3\4" + bytes);
    stage.give("two files in one", "page-photo.jpg", "%PDF-1.4\n" + bytes);
  }

  // Sizes that are not there, or that are there and too much.
  const std::string bomb = "more than it seems";
  for (const auto& [width, height] : std::vector<std::pair<std::uint32_t, std::uint32_t>>{{65535, 1}, {1, 65535}, {60000, 60000}, {0x7fffffff, 0x7fffffff}, {0, 0}, {30000, 4000}, {10950, 10950}}) {
    stage.give(bomb, "size.png", png(width, height, 2, "", deflated(std::string(100, '\0'))));
    stage.give(bomb, "alpha.png", png(width, height, 6, "", deflated(std::string(100, '\0'))));
    stage.give(bomb, "size.tif", tiff({{256, 4, 1, width}, {257, 4, 1, height}, {258, 3, 1, 8}, {259, 3, 1, 1}, {262, 3, 1, 1}, {273, 4, 1, 200}, {277, 3, 1, 1}, {278, 4, 1, height}, {279, 4, 1, 100}}, 0, std::string(400, '\0')));
    stage.give(bomb, "deflate.tif", tiff({{256, 4, 1, width}, {257, 4, 1, height}, {258, 3, 1, 8}, {259, 3, 1, 8}, {262, 3, 1, 1}, {273, 4, 1, 200}, {277, 3, 1, 1}, {278, 4, 1, height}, {279, 4, 1, 100}}, 0, std::string(400, '\0')));
    stage.give(bomb, "size.heic", replaced(good.at("a_heic"), "ispe", 8, be32(width) + be32(height)));
    stage.give(bomb, "size.jpg", replaced(jpeg, "\xFF\xC0", 5, std::string{char(height >> 8), char(height), char(width >> 8), char(width)}));
    const std::uint32_t w = std::min(width, 0xFFFFFFu) - 1, h = std::min(height, 0xFFFFFFu) - 1;
    const std::string body = "WEBPVP8X" + le32(10) + le32(0) + le32(w).substr(0, 3) + le32(h).substr(0, 3) + good.at("a_webp").substr(12);
    stage.give(bomb, "canvas.webp", "RIFF" + le32(static_cast<std::uint32_t>(body.size())) + body);
  }
  {
    // 100 megapixels of nothing in 0.1 MB, cut at the end: everything must be decoded before the fault shows.
    const std::string zeros(std::size_t{12000} * (8300 + 1), '\0');
    auto coded = deflated(zeros);
    stage.give(bomb, "zeros.png", png(8300, 12000, 0, "", coded.substr(0, coded.size() - 5)));
    stage.give(bomb, "text.png", png(64, 64, 2, chunk("zTXt", std::string("Comment\0\0", 9) + coded), deflated(std::string(64 * 193, '\0'))));
    stage.give(bomb, "profile.png", png(64, 64, 2, chunk("iCCP", std::string("p\0\0", 3) + coded), deflated(std::string(64 * 193, '\0'))));
  }
  {
    const auto progressive = good.at("p_jpg");
    const auto first = progressive.find("\xFF\xDA"), second = progressive.find("\xFF\xC4", first + 2);
    for (const int scans : {150, 5000}) {
      std::string many = progressive.substr(0, second);
      for (int k = 0; k < scans; ++k) many += progressive.substr(first, second - first);
      stage.give(bomb, "scans.jpg", many + progressive.substr(second));
      stage.give(bomb, "large-scans.jpg", replaced(many + progressive.substr(second), "\xFF\xC2", 5, std::string{'\x1f', '\x40', '\x27', '\x10'}));
    }
  }

  // Sound pixels with broken extras: the photo opens.
  const std::string extras = "sound photo, broken extras";
  const auto sound = [&](const std::string& name, const std::string& bytes) {
    write_file_whole(stage.folder / name, bytes);
    stage.ask(extras, stage.folder / name, name, true);
  };
  const std::string exif("Exif\0\0", 6), icc("ICC_PROFILE\0", 12);
  sound("loop.jpg", with_segment(jpeg, 0xE1, exif + tiff({{0x8769, 4, 1, 8}, {0x8825, 4, 1, 8}}, 8, "")));
  sound("far.jpg", with_segment(jpeg, 0xE1, exif + tiff({{0x8769, 4, 1, 0xFFFFFFF0}, {0x010f, 2, 0xFFFFFFFF, 0xFFFFFFF0}}, 0xFFFFFFFF, "")));
  sound("huge.jpg", with_segment(jpeg, 0xE1, exif + tiff(std::vector<std::array<std::uint32_t, 4>>(5000, {0x0112, 3, 0xFFFFFFFF, 9}), 8, "")));
  sound("position.jpg", with_segment(jpeg, 0xE1, exif + tiff({{0x8825, 4, 1, 26}}, 0, std::string("\2\0\1\0\2\0\2\0\0\0N\0\0\0\2\0\5\0\3\0\0\0\xff\xff\0\0\0\0\0\0", 30))));
  sound("profile.jpg", with_segment(jpeg, 0xE2, icc + "\1\1" + std::string(3000, 'x')));
  sound("half-profile.jpg", with_segment(jpeg, 0xE2, icc + "\1\2" + std::string(128, '\0')));
  {
    auto many = jpeg;
    for (int k = 0; k < 300; ++k) many = with_segment(many, 0xE1, exif + std::string(60000, char(k)));
    sound("16-mb-of-exif.jpg", many);
  }

  const std::string files = "not a file of pixels";
  stage.give(files, "empty.jpg", "");
  stage.give(files, "text.jpg", "not a photo\n");
  stage.give(files, "svg.png", "<svg xmlns='http://www.w3.org/2000/svg'/>");
  ::mkfifo((stage.folder / "pipe.jpg").c_str(), 0600);
  fs::create_directory(stage.folder / "folder.jpg");
  fs::create_symlink("circle.jpg", stage.folder / "circle.jpg");
  for (const auto& file : {stage.folder / "pipe.jpg", stage.folder / "folder.jpg", stage.folder / "circle.jpg", stage.folder / "none.jpg", stage.folder / std::string(300, 'n'), fs::path("/dev/zero"), fs::path("/proc/self/mem"), fs::path("/dev/stdin")})
    stage.ask(files, file, file.filename());

  std::printf("| hostile photos | runs | refused in one line | opened | most processor time, s | longest, s | most memory, MB | wrong |\n| --- | --- | --- | --- | --- | --- | --- | --- |\n");
  int wrong = 0;
  for (const auto& name : stage.order) {
    const auto& g = stage.groups[name];
    std::printf("| %s | %d | %d | %d | %.2f | %.2f | %.0f | %d |\n", name.c_str(), g.runs, g.refused, g.opened, g.cpu_s, g.wall_s, g.mb, g.wrong);
    wrong += g.wrong;
  }
  std::printf("\nAllowed: %.2f s of processor time a file, %.0f MB.\n", stage.most_seconds, kMostMb);
  for (const auto& line : stage.trouble) std::fprintf(stderr, "%s\n", line.c_str());
  return wrong == 0 ? 0 : 1;
}
