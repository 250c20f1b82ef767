// Opening a case book whose database was changed: the input is a list of edits (offset, length, bytes) to a sound book's file.
// It is refused or read, and its file is not changed by reading.
#include <algorithm>
#include <opencv2/core.hpp>

#include "scratch.h"
#include "uroko/base/error.h"
#include "uroko/base/file.h"
#include "uroko/casebook/keeping.h"

using namespace uroko;

namespace {

std::string sound_book(const std::filesystem::path& folder) {
  {
    auto book = casebook::Book::create(folder);
    const auto file = fuzz::put("p.jpg", photo::encode_jpeg(cv::Mat(24, 32, CV_8UC3, cv::Scalar(20, 90, 160)), 80));
    casebook::NewPhotos photos;
    photos.files = {file};
    photos.fish = "A", photos.wound = "left", photos.date = DateTime::parse("2026-03-02").value();
    const auto added = book.add_photos(photos);
    casebook::MeasureRow measure;
    measure.photo = added[0].photo, measure.area_mm2 = 456.5, measure.u_mm2 = 4, measure.low95 = 448, measure.high95 = 464, measure.made = *photos.date;
    measure.margin_wkt = "POLYGON((1 1,20 1,20 20,1 1))";
    book.add(measure);
  }
  return read_file(folder / "book.sqlite");
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const auto folder = fuzz::scratch() / "koi.uroko";
  static const std::string sound = sound_book(folder);
  std::string bytes = sound;
  for (std::size_t at = 0; at + 4 <= size;) {
    const std::size_t offset = (std::size_t{data[at]} << 16 | std::size_t{data[at + 1]} << 8 | data[at + 2]) % sound.size();
    std::size_t length = data[at + 3] % 64;
    at += 4;
    if (length == 63) {  // cut
      bytes.resize(std::min(bytes.size(), offset));
      continue;
    }
    length = std::min(length, size - at);
    for (std::size_t k = 0; k < length && offset + k < bytes.size(); ++k) bytes[offset + k] = static_cast<char>(data[at + k]);
    at += length;
  }
  fuzz::put("koi.uroko/book.sqlite", bytes);
  bool sound_enough = false;
  for (const auto access : {casebook::Access::read, casebook::Access::rescue}) {
    // A book that opens is rescued by the same statements: now and then is enough.
    if (sound_enough && size % 8 != 0) break;
    try {
      const auto book = casebook::Book::open(folder, access);
      (void)casebook::to_csv(book);
      (void)book.everything();
      (void)book.glance();
      (void)book.history();
      for (const auto& fish : book.fish())
        for (const auto& wound : book.wounds(fish.id)) (void)book.series_of(wound.id);
      sound_enough = true;
    } catch (const Error& e) {
      fuzz::must(e.fault() == Fault::book);
    }
  }
  fuzz::must(read_file(folder / "book.sqlite") == bytes);
  return 0;
}
