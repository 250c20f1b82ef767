#include <sys/resource.h>

#include <catch2/catch.hpp>
#include <chrono>
#include <csignal>
#include <fstream>
#include <thread>

#include "photo/pictures.h"
#include "photo/worker_client.h"
#include "support/command.h"
#include "support/sanitized.h"
#include "support/temp_folder.h"
#include "uroko/base/file.h"
#include "uroko/photo/worker.h"

using namespace uroko;
using namespace uroko::testing;
using photo::Job;

namespace {

std::vector<std::pair<std::string, std::string>> good_files() {
  TempFolder folder;
  const auto scene = corners(301, 207);
  photo::ExifFields turned;
  turned.orientation = 6;
  turned.make = "Maker \xC3\xA9";
  turned.model = "Model";
  turned.focal_mm = 4.25;
  turned.taken = DateTime::parse("2026-03-02T10:14:00+09:00");
  std::vector<std::pair<std::string, std::string>> out = {
      {"baseline JPEG", photo::encode_jpeg(scene, 90)},
      {"turned JPEG", photo::encode_jpeg_with_exif(scene, 90, turned)},
      {"Display P3 JPEG", with_segment(photo::encode_jpeg(scene, 90), 0xE2, std::string("ICC_PROFILE\0\1\1", 14) + display_p3_icc())},
      {"progressive JPEG", progressive_jpeg(scene)},
      {"CMYK JPEG", cmyk_jpeg(300, 200, 10, 200, 30, 40)},
      {"PNG with alpha", png_bytes(scene, {16, 6, true, {}})},
      {"TIFF", tiff_bytes(scene, 8, folder / "a.tif")},
      {"WebP", webp_bytes(scene)},
      {"one pixel", photo::encode_png(corners(1, 1))},
  };
  if (auto heic = heic_bytes(scene, 1, folder / "a.heic"); !heic.empty()) out.emplace_back("HEIC", std::move(heic));
  return out;
}

bool same(const cv::Mat& a, const cv::Mat& b) { return a.size() == b.size() && a.type() == b.type() && cv::norm(a, b, cv::NORM_INF) == 0; }

/// The error's code when the worker is asked to behave like a broken decoder.
std::string code_of(Job::Deed deed) {
  const auto bytes = photo::encode_jpeg(corners(32, 32), 90);
  const auto memory = photo::worker_bytes(bytes);
  REQUIRE(memory);
  std::string hash;
  try {
    (void)photo::ask_worker(*memory, "photo.jpg", {deed, 0, {}}, hash);
    return "";
  } catch (const Error& e) {
    CHECK(e.fault() == Fault::input);
    CHECK(std::string(e.what()).find("photo.jpg: ") == 0);
    CHECK_FALSE(e.advice().empty());
    return e.code();
  }
}

double seconds_since(std::chrono::steady_clock::time_point start) { return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count(); }

}  // namespace

TEST_CASE("the worker gives what decoding in this process gives, for every format") {
  for (const auto& [kind, bytes] : good_files()) {
    INFO(kind);
    TempFolder folder;
    const auto file = folder / "IMG_20260302_101400.jpg";
    write_file_whole(file, bytes);
    const auto here = photo::load(file);
    const auto reduced_here = photo::load_preview(file, 60);
    const photo::DecodingWorker worker(UROKO_COMMAND);
    REQUIRE(worker.running());
    const auto there = photo::load(file);
    CHECK(same(here.bgr, there.bgr));
    for (const auto& info : {there.info, photo::probe(file), photo::load_bytes(bytes, file).info}) {
      CHECK(info.file == here.info.file);
      CHECK(info.format == here.info.format);
      CHECK(info.width_px == here.info.width_px);
      CHECK(info.height_px == here.info.height_px);
      CHECK(info.orientation == here.info.orientation);
      CHECK(info.sha256 == here.info.sha256);
      CHECK(info.bytes == here.info.bytes);
      CHECK(info.taken == here.info.taken);
      CHECK(info.taken_from == here.info.taken_from);
      CHECK(info.camera_make == here.info.camera_make);
      CHECK(info.camera_model == here.info.camera_model);
      CHECK(info.focal_mm == here.info.focal_mm);
      CHECK(info.colour_profile == here.info.colour_profile);
    }
    const auto reduced = photo::load_preview(file, 60);
    CHECK(same(reduced_here.bgr, reduced.bgr));
    CHECK(reduced.scale == reduced_here.scale);
    CHECK(worker.running());
  }
}

TEST_CASE("a picture from the worker can be written to, copied and outlives the worker") {
  const auto bytes = photo::encode_jpeg(corners(400, 300), 90);
  cv::Mat kept, untouched;
  {
    const photo::DecodingWorker worker(UROKO_COMMAND);
    kept = photo::load_bytes(bytes, "a.jpg").bgr;
    untouched = photo::load_bytes(bytes, "a.jpg").bgr;
  }
  CHECK(same(kept, untouched));
  cv::Mat shared = kept;
  shared.setTo(cv::Scalar(1, 2, 3));
  CHECK(kept.at<cv::Vec3b>(299, 399) == cv::Vec3b(1, 2, 3));
  CHECK_FALSE(same(kept, untouched));
  kept.create(10, 10, CV_8UC3);
  CHECK(shared.at<cv::Vec3b>(0, 0) == cv::Vec3b(1, 2, 3));
}

TEST_CASE("a decoder that crashes, hangs, burns time, hoards memory or talks nonsense is one error, and the next photo loads") {
  const photo::DecodingWorker worker(UROKO_COMMAND);
  const auto start = std::chrono::steady_clock::now();
  CHECK(code_of(Job::Deed::crash) == "damaged");
  CHECK(code_of(Job::Deed::sleep) == "too-slow");
  CHECK(code_of(Job::Deed::spin) == "too-slow");
  CHECK(code_of(Job::Deed::babble) == "damaged");
  if (!testing::sanitized) CHECK(code_of(Job::Deed::hoard) == "no-memory");
  CHECK(seconds_since(start) < 60);  // they end: not a measure of speed
  CHECK(load_code(photo::encode_jpeg(corners(32, 32), 90)) == "");
  CHECK(worker.running());
}

TEST_CASE("refusals come through the worker word for word") {
  const auto jpeg = photo::encode_jpeg(corners(64, 64), 90);
  const std::vector<std::string> bad = {"", "text\n", jpeg.substr(0, jpeg.size() / 2), png_header_only(60000, 60000), png_header_only(100, 100), "\xFF\xD8\xFF"};
  TempFolder folder;
  const auto file = folder / "a.jpg";
  const auto words = [&] {
    try {
      photo::load(file);
      return std::string("loaded");
    } catch (const Error& e) {
      return e.code() + "|" + e.what();
    }
  };
  for (const auto& bytes : bad) {
    write_file_whole(file, bytes);
    const auto here = words();
    const photo::DecodingWorker worker(UROKO_COMMAND);
    CHECK(words() == here);
  }
}

TEST_CASE("several threads ask the worker at once") {
  const photo::DecodingWorker worker(UROKO_COMMAND);
  const auto good = photo::encode_jpeg(corners(200, 150), 90);
  const auto bad = good.substr(0, good.size() / 2);
  std::vector<std::thread> threads;
  std::atomic<int> loaded = 0, refused = 0;
  for (int t = 0; t < 4; ++t)
    threads.emplace_back([&] {
      for (int i = 0; i < 10; ++i) {
        try {
          if (photo::load_bytes(i % 2 == 0 ? good : bad, "a.jpg").bgr.cols == 200) ++loaded;
        } catch (const Error& e) {
          if (e.code() == "truncated") ++refused;
        }
      }
    });
  for (auto& thread : threads) thread.join();
  CHECK(loaded == 20);
  CHECK(refused == 20);
}

TEST_CASE("a worker that was killed is started again, and one that cannot be started leaves decoding to this process") {
  const auto bytes = photo::encode_jpeg(corners(64, 64), 90);
  {
    const photo::DecodingWorker worker(UROKO_COMMAND);
    // The only child of this process that bears the name.
    const auto ended = run({"pkill", "-KILL", "-P", std::to_string(::getpid()), "uroko-decoders"});
    if (ended.exit_code == 0) CHECK(photo::load_bytes(bytes, "a.jpg").bgr.cols == 64);
    CHECK(photo::load_bytes(bytes, "a.jpg").bgr.cols == 64);
    CHECK(worker.running());
  }
  const photo::DecodingWorker none("/nowhere/uroko");
  CHECK_FALSE(none.running());
  CHECK(photo::load_bytes(bytes, "a.jpg").bgr.cols == 64);
}

TEST_CASE("the hidden duty is nothing that a person can start") {
  const auto ran = uroko::testing::uroko({"--decode-worker"});
  CHECK(ran.exit_code == 2);
}
