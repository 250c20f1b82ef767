// What decoding in a process of its own costs: the same file loaded here and through the worker, in turn, medians.
//   bench_decoding_worker          Markdown table (assets/guide/speed.md)
#include <turbojpeg.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <functional>
#include <opencv2/imgproc.hpp>

#include "../support/temp_folder.h"
#include "uroko/base/file.h"
#include "uroko/photo/worker.h"
#include "uroko/photo/photo.h"

using namespace uroko;

namespace {

/// Detail at all sizes, so that the JPEG is about as large as a phone's: 3 to 4 bits a pixel.
cv::Mat picture(int width, int height) {
  cv::Mat out(height, width, CV_8UC3, cv::Scalar(90, 110, 150));
  cv::RNG random(7);
  for (int size = 8; size <= 512; size *= 4) {
    cv::Mat layer(height / size + 2, width / size + 2, CV_8UC3), large;
    random.fill(layer, cv::RNG::UNIFORM, 0, 60);
    cv::resize(layer, large, {(width / size + 2) * size, (height / size + 2) * size}, 0, 0, cv::INTER_CUBIC);
    out += large(cv::Rect(0, 0, width, height)) - cv::Scalar::all(30);
  }
  cv::Mat noise(height, width, CV_8SC3);
  random.fill(noise, cv::RNG::NORMAL, 0, 4);
  cv::add(out, noise, out, cv::noArray(), CV_8UC3);
  return out;
}

double ms(const std::function<void()>& f) {
  const auto start = std::chrono::steady_clock::now();
  f();
  return std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - start).count();
}

double median(std::vector<double> values) {
  std::nth_element(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2), values.end());
  return values[values.size() / 2];
}

/// libjpeg-turbo's own decode of the file at 1/shrink, reading included.
void plain(const std::filesystem::path& file, int shrink) {
  const auto bytes = read_file(file);
  tjhandle handle = tjInitDecompress();
  int width = 0, height = 0, sampling = 0, space = 0;
  const auto* data = reinterpret_cast<const unsigned char*>(bytes.data());
  if (tjDecompressHeader3(handle, data, bytes.size(), &width, &height, &sampling, &space) != 0) throw std::runtime_error("not a JPEG");
  width = TJSCALED(width, (tjscalingfactor{1, shrink}));
  height = TJSCALED(height, (tjscalingfactor{1, shrink}));
  cv::Mat out(height, width, CV_8UC3);
  if (tjDecompress2(handle, data, bytes.size(), out.data, width, static_cast<int>(out.step), height, TJPF_BGR, shrink > 1 ? TJFLAG_FASTUPSAMPLE : 0) != 0) throw std::runtime_error("not decoded");
  tjDestroy(handle);
}

}  // namespace

int main() {
  testing::TempFolder folder;
  std::printf("| file | what | plain libjpeg-turbo, ms | in this process, ms | through the worker, ms | extra, ms | worker / plain |\n| --- | --- | --- | --- | --- | --- | --- |\n");
  struct Size {
    int width, height, tries;
  };
  for (const auto& [width, height, tries] : {Size{4032, 3024, 15}, Size{8064, 6048, 7}}) {
    const auto file = folder / "photo.jpg";
    write_file_whole(file, photo::encode_jpeg(picture(width, height), 88));
    for (const int side : {1600, 0}) {
      int shrink = 1;
      if (side > 0)
        while (shrink < 8 && width / (2 * shrink) >= side) shrink *= 2;
      const auto load = [&] { side > 0 ? (void)photo::load_preview(file, side) : (void)photo::load(file); };
      std::vector<double> bare, here, there;
      load();
      for (int i = 0; i < tries; ++i) {
        bare.push_back(ms([&] { plain(file, shrink); }));
        here.push_back(ms(load));
        const photo::DecodingWorker worker(UROKO_COMMAND);
        (void)photo::probe(file);  // it runs already when a photo comes
        there.push_back(ms(load));
      }
      std::printf("| JPEG %d x %d, %.1f MB | %s | %.1f | %.1f | %.1f | %+.1f | %.2f |\n", width, height, double(std::filesystem::file_size(file)) / 1e6, side > 0 ? ("first picture, 1/" + std::to_string(shrink)).c_str() : "whole",
                  median(bare), median(here), median(there), median(there) - median(here), median(there) / median(bare));
      std::fflush(stdout);
    }
  }
}
