#include <catch2/catch.hpp>
#include <set>

#include "photo/pictures.h"
#include "support/temp_folder.h"
#include "uroko/base/file.h"
#include "uroko/base/random.h"

using namespace uroko;
using namespace uroko::testing;

namespace {
const std::set<std::string> kRefusals = {"truncated", "damaged", "unsupported", "unknown-format", "too-large", "empty"};

std::vector<std::pair<std::string, std::string>> good_files() {
  TempFolder folder;
  const auto scene = corners(96, 64);
  std::vector<std::pair<std::string, std::string>> out = {
      {"baseline JPEG", photo::encode_jpeg(scene, 90)},
      {"progressive JPEG", progressive_jpeg(scene)},
      {"PNG", photo::encode_png(scene)},
      {"interlaced PNG", png_bytes(scene, {16, 6, true, {}})},
      {"TIFF", tiff_bytes(scene, 8, folder / "a.tif")},
      {"WebP", webp_bytes(scene)},
  };
  if (auto heic = heic_bytes(scene, 1, folder / "a.heic"); !heic.empty()) out.emplace_back("HEIC", std::move(heic));
  return out;
}
}  // namespace

TEST_CASE("a file cut anywhere is refused, at every hundredth of its length") {
  for (const auto& [kind, bytes] : good_files()) {
    INFO(kind);
    REQUIRE(load_code(bytes) == "");
    for (int percent = 0; percent < 100; ++percent) {
      const auto code = load_code(bytes.substr(0, bytes.size() * std::size_t(percent) / 100));
      INFO("cut at " << percent << " %: " << code);
      CHECK(kRefusals.count(code) == 1);
    }
    if (kind == "TIFF") continue;  // its last byte may belong to a field that nobody needs
    const auto last = load_code(bytes.substr(0, bytes.size() - 1));
    CHECK(kRefusals.count(last) == 1);
  }
}

TEST_CASE("damaged bytes give a photo or one refusal, never a crash") {
  Random random(11);
  for (const auto& [kind, bytes] : good_files()) {
    INFO(kind);
    for (int i = 0; i < (kind == "HEIC" ? 60 : 300); ++i) {
      auto hurt = bytes;
      for (int k = 0; k <= i % 4; ++k) hurt[std::size_t(random.index(int(hurt.size())))] = char(random.index(256));
      const auto code = load_code(hurt);
      INFO("try " << i << ": " << code);
      CHECK((code.empty() || kRefusals.count(code) == 1));
    }
  }
}

TEST_CASE("bad files are told apart in plain words") {
  TempFolder folder;
  const auto code_of = [&](const std::string& name, const std::string& bytes) {
    write_file_whole(folder / name, bytes);
    try {
      photo::load(folder / name);
      return std::string();
    } catch (const Error& e) {
      CHECK(e.fault() == Fault::input);
      CHECK(e.exit_code() == 3);
      CHECK(std::string(e.what()).find(name) != std::string::npos);
      CHECK(std::string(e.what()).find('\n') == std::string::npos);
      CHECK_FALSE(e.advice().empty());
      return e.code();
    }
  };
  CHECK_THROWS_AS(photo::load(folder / "none.jpg"), Error);
  CHECK_THROWS_AS(photo::load(folder.path()), Error);
  CHECK(code_of("empty.jpg", "") == "empty");
  CHECK(code_of("text.jpg", "this is not a photo\n") == "unknown-format");
  CHECK(code_of("gif.jpg", "GIF89a\1\0\1\0") == "unknown-format");
  CHECK(code_of("short.jpg", "\xFF\xD8\xFF") == "truncated");
  CHECK(code_of("pnm.jpg", "P6 1 1 255\nabc") == "unknown-format");
  CHECK(code_of("avif.heic", std::string("\0\0\0\x1c", 4) + "ftypavif" + std::string(64, '\0')) == "unknown-format");
  const auto jpeg = photo::encode_jpeg(corners(64, 64), 90);
  CHECK(code_of("half.jpg", jpeg.substr(0, jpeg.size() / 2)) == "truncated");
  CHECK(code_of("no-end.jpg", jpeg.substr(0, jpeg.size() - 2)) == "truncated");
  // The end marker is there but half of the coded data is not.
  CHECK(code_of("hollow.jpg", jpeg.substr(0, jpeg.size() / 2) + "\xFF\xD9") == "truncated");
}

TEST_CASE("a header that asks for too much is refused before anything is decoded") {
  CHECK(load_code(png_header_only(60000, 60000)) == "too-large");
  CHECK(load_code(png_header_only(65535, 1)) == "too-large");
  CHECK(load_code(png_header_only(0x7fffffff, 0x7fffffff)) == "too-large");
  // Grey with alpha at the largest sizes there are: 4 bytes a pixel do not fit 64 bits (found by fuzzing).
  auto vast = png_header_only(0x7fffffff, 0x7fffffff);
  vast[25] = 4;
  CHECK(load_code(vast) == "too-large");
  CHECK(load_code(png_header_only(10000, 10000)) == "damaged");  // allowed, but there is nothing in it
  CHECK(load_code(png_header_only(0, 10)) == "damaged");
  auto jpeg = photo::encode_jpeg(corners(32, 32), 90);
  const auto frame = jpeg.find("\xFF\xC0");
  REQUIRE(frame != std::string::npos);
  for (const auto& [height, width] : std::vector<std::pair<int, int>>{{65500, 65500}, {1, 65500}}) {
    auto big = jpeg;
    big[frame + 5] = char(height >> 8), big[frame + 6] = char(height & 255);
    big[frame + 7] = char(width >> 8), big[frame + 8] = char(width & 255);
    CHECK(load_code(big) == "too-large");
  }
  photo::LoadLimits limits;
  limits.max_bytes = 100;
  TempFolder folder;
  write_file_whole(folder / "a.jpg", jpeg);
  CHECK_THROWS_AS(photo::load(folder / "a.jpg", limits), Error);
}

TEST_CASE("a JPEG with hundreds of scans is refused") {
  const auto jpeg = progressive_jpeg(corners(64, 64));
  const auto first = jpeg.find("\xFF\xDA");
  const auto second = jpeg.find("\xFF\xC4", first + 2);
  REQUIRE(second != std::string::npos);
  std::string bomb = jpeg.substr(0, second);
  for (int i = 0; i < 500; ++i) bomb += jpeg.substr(first, second - first);
  CHECK(load_code(bomb + jpeg.substr(second)) == "too-large");
}

TEST_CASE("the content decides, not the name, and what follows the picture is left alone") {
  const auto png = photo::encode_png(corners(20, 20));
  CHECK(load_code(png, "really-a-png.jpg") == "");
  const auto jpeg = photo::encode_jpeg(corners(20, 20), 90);
  CHECK(load_code(jpeg, "really-a-jpeg.png") == "");
  CHECK(load_code(jpeg + "PK\3\4 an archive behind it", "polyglot.jpg") == "");
  CHECK(load_code("PK\3\4" + jpeg, "polyglot.jpg") == "unknown-format");
}

TEST_CASE("a named pipe or a device is refused at once") {
  CHECK_THROWS_AS(photo::load("/dev/zero"), Error);
}
