#include "uroko/photo/exif.h"

#include <libexif/exif-data.h>

#include <catch2/catch.hpp>

#include "photo/pictures.h"
#include "uroko/base/random.h"

using namespace uroko;
using namespace uroko::testing;
using photo::DateSource;

namespace {
photo::ExifFields sample() {
  photo::ExifFields f;
  f.taken = DateTime::parse("2026-03-02T10:14:05+09:00");
  f.taken_from = DateSource::exif;
  f.make = "Maker";
  f.model = "Model 7";
  f.lens_model = "wide 1x";
  f.focal_mm = 5.43;
  f.focal35_mm = 26;
  f.orientation = 6;
  return f;
}

std::string le16(int v) { return {char(v & 255), char(v >> 8)}; }
std::string le32(unsigned v) { return le16(int(v & 65535)) + le16(int(v >> 16)); }
std::string entry(int tag, int type, unsigned units, unsigned value) { return le16(tag) + le16(type) + le32(units) + le32(value); }
}  // namespace

TEST_CASE("EXIF that is written reads back the same") {
  const auto f = photo::read_exif(photo::write_exif(sample()));
  CHECK(f.taken->iso() == sample().taken->iso());
  CHECK(f.taken_from == DateSource::exif);
  CHECK(f.make == "Maker");
  CHECK(f.model == "Model 7");
  CHECK(f.lens_model == "wide 1x");
  CHECK(*f.focal_mm == Approx(5.43));
  CHECK(*f.focal35_mm == Approx(26));
  CHECK(f.orientation == 6);
  CHECK_FALSE(f.has_position);
}

TEST_CASE("libexif reads the same fields from what is written") {
  const std::string bytes = std::string("Exif\0\0", 6) + photo::write_exif(sample());
  ExifData* data = exif_data_new_from_data(reinterpret_cast<const unsigned char*>(bytes.data()), unsigned(bytes.size()));
  REQUIRE(data != nullptr);
  const auto text = [&](ExifIfd ifd, ExifTag tag) {
    char out[100] = "";
    ExifEntry* e = exif_content_get_entry(data->ifd[ifd], tag);
    if (e != nullptr) exif_entry_get_value(e, out, sizeof out);
    return std::string(out);
  };
  CHECK(text(EXIF_IFD_0, EXIF_TAG_MAKE) == "Maker");
  CHECK(text(EXIF_IFD_0, EXIF_TAG_MODEL) == "Model 7");
  CHECK(text(EXIF_IFD_0, EXIF_TAG_ORIENTATION) == "Right-top");
  CHECK(text(EXIF_IFD_EXIF, EXIF_TAG_DATE_TIME_ORIGINAL) == "2026:03:02 10:14:05");
  CHECK(text(EXIF_IFD_EXIF, EXIF_TAG_OFFSET_TIME_ORIGINAL) == "+09:00");
  CHECK(text(EXIF_IFD_EXIF, EXIF_TAG_FOCAL_LENGTH) == "5.4 mm");
  CHECK(text(EXIF_IFD_EXIF, EXIF_TAG_FOCAL_LENGTH_IN_35MM_FILM) == "26");
  exif_data_unref(data);
}

TEST_CASE("a photo's date says where it came from") {
  const auto picture = corners(16, 16);
  CHECK(photo::load_bytes(photo::encode_jpeg_with_exif(picture, 90, sample()), "IMG_20200101_000000.jpg").info.taken_from == DateSource::exif);
  auto scanned = sample();
  scanned.taken_from = DateSource::exif_digitised;
  CHECK(photo::load_bytes(photo::encode_jpeg_with_exif(picture, 90, scanned), "a.jpg").info.taken_from == DateSource::exif_digitised);
  const auto named = photo::load_bytes(photo::encode_jpeg(picture, 90), "IMG_20260302_101400.jpg").info;
  CHECK(named.taken_from == DateSource::file_name);
  CHECK(named.taken->iso() == "2026-03-02T10:14:00");
  CHECK(photo::load_bytes(photo::encode_jpeg(picture, 90), "no-such-file.jpg").info.taken_from == DateSource::none);
  for (const auto source : {DateSource::user, DateSource::exif, DateSource::exif_digitised, DateSource::file_name, DateSource::file_time, DateSource::none})
    CHECK(photo::date_source_named(photo::name(source)) == source);
}

TEST_CASE("dates are found in the names that phones and messengers give") {
  const std::vector<std::pair<std::string, std::string>> table = {
      {"IMG_20260302_101400.jpg", "2026-03-02T10:14:00"},  {"PXL_20260302_101400123.jpg", "2026-03-02T10:14:00"},
      {"20260302_101400.heic", "2026-03-02T10:14:00"},     {"20260302101400.jpg", "2026-03-02T10:14:00"},
      {"2026-03-02 10.14.00.png", "2026-03-02T10:14:00"},  {"2026-03-02T10-14-00.png", "2026-03-02T10:14:00"},
      {"IMG-20260302-WA0007.jpg", "2026-03-02"},           {"Photo 2026-03-02 at 10.14.00.jpeg", "2026-03-02T10:14:00"},
      {"koi left 2026-03-02.jpg", "2026-03-02"},           {"DSC01234.jpg", ""},
      {"IMG_20260231_101400.jpg", ""},                     {"20261302.jpg", ""},
      {"1234567890123.jpg", ""},                           {"12026030210.jpg", ""},
      {"IMG_20260302_256100.jpg", "2026-03-02"},           {"visit-3.jpg", ""},
      {"18990302.jpg", ""},                                {"20260302-2.jpg", "2026-03-02"},
  };
  for (const auto& [file, wanted] : table) {
    const auto found = photo::date_from_file_name(file);
    INFO(file);
    CHECK((found ? found->iso() : "") == wanted);
  }
}

TEST_CASE("directories that point at themselves, absurd counts and offsets hold nothing up") {
  // The EXIF and GPS pointers of the first directory point back at it (offset 8); the next-directory link too.
  const std::string loop = "II" + le16(42) + le32(8) + le16(3) + entry(0x0112, 3, 1, 3) + entry(0x8769, 4, 1, 8) + entry(0x8825, 4, 1, 8) + le32(8);
  CHECK(photo::read_exif(loop).orientation == 3);
  const std::string wild = "II" + le16(42) + le32(8) + le16(65535) + entry(0x010f, 2, 0xffffffff, 0xfffffff0) + entry(0x0112, 3, 1, 77) + entry(0x8769, 4, 1, 0xfffffffe);
  const auto f = photo::read_exif(wild);
  CHECK(f.make.empty());
  CHECK(f.orientation == 1);
  CHECK(photo::load_bytes(with_segment(photo::encode_jpeg(corners(16, 16), 90), 0xE1, std::string("Exif\0\0", 6) + loop), "a.jpg").info.orientation == 3);
  CHECK_NOTHROW(photo::read_exif(""));
  CHECK_NOTHROW(photo::read_exif("II*"));
}

TEST_CASE("ten thousand damaged EXIF blocks are read without harm") {
  const auto whole = photo::write_exif(sample());
  Random random(7);
  for (int i = 0; i < 10000; ++i) {
    auto bytes = whole.substr(0, std::size_t(random.index(int(whole.size()) + 1)));
    for (int k = 0; k < 3 && !bytes.empty(); ++k) bytes[std::size_t(random.index(int(bytes.size())))] = char(random.index(256));
    const auto f = photo::read_exif(bytes);
    REQUIRE(f.orientation >= 1);
    REQUIRE(f.orientation <= 8);
  }
}

TEST_CASE("a position is seen, and is gone from what goes to others, with the pixels untouched") {
  // First directory: orientation and GPS pointer; GPS directory: latitude reference and three rationals.
  const std::string gps_ifd = le16(2) + entry(1, 2, 2, 'N') + entry(2, 5, 3, 68) + le32(0);
  const std::string tiff = "II" + le16(42) + le32(8) + le16(2) + entry(0x0112, 3, 1, 6) + entry(0x8825, 4, 1, 38) + le32(0) + gps_ifd + le32(35) + le32(1) + le32(41) + le32(1) + le32(22) + le32(1);
  const auto plain = photo::encode_jpeg(corners(64, 48), 90);
  auto bytes = with_segment(plain, 0xE1, std::string("http://ns.adobe.com/xap/1.0/\0", 29) + "<x>exif:GPSLatitude=\"35,41.36N\"</x>");
  bytes = with_segment(bytes, 0xFE, "taken at the pond of somebody");
  bytes = with_segment(bytes, 0xE1, std::string("Exif\0\0", 6) + tiff) + "a second picture with its own position";
  const auto before = photo::load_bytes(bytes, "a.jpg");
  REQUIRE(before.info.has_position);
  const auto clean = photo::without_position(bytes);
  REQUIRE(clean);
  const auto after = photo::load_bytes(*clean, "a.jpg");
  CHECK_FALSE(after.info.has_position);
  CHECK(after.info.orientation == 6);
  CHECK(mean_difference(before.bgr, after.bgr) == 0);
  for (const auto* word : {"GPS", "pond", "second picture", "35,41"}) CHECK(clean->find(word) == std::string::npos);
  CHECK(photo::without_position(bytes.substr(0, bytes.size() / 2)).refusal().code == "damaged");
  CHECK(photo::without_position("text").refusal().code == "damaged");
  CHECK(mean_difference(photo::load_bytes(*photo::without_position(webp_bytes(corners(20, 20))), "a.webp").bgr, corners(20, 20)) == 0);
  CHECK(mean_difference(photo::load_bytes(*photo::without_position(photo::encode_png(corners(20, 20))), "a.png").bgr, corners(20, 20)) == 0);
}
