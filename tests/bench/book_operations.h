#pragma once
// What the fault benchmarks do to a case book and to what is written from it, and what must be whole afterwards.
#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "../casebook/stored.h"
#include "uroko/base/file.h"
#include "uroko/casebook/keeping.h"
#include "uroko/report/export.h"
#include "uroko/report/from_book.h"

namespace uroko::faults {

using namespace uroko::casebook;
namespace fs = std::filesystem;

inline constexpr int kSaved = 42;
inline const DateTime kDay = DateTime::parse("2026-03-02").value();

inline void write_photo(const fs::path& file, int shade) {
  cv::Mat picture(48, 64, CV_8UC3, cv::Scalar(shade, 90, 160));
  write_file_whole(file, photo::encode_jpeg(picture, 90));
}

/// What every operation starts from: a book with one photo and measure, photos to add, a backup and a bundle of it.
inline void make_template(const fs::path& folder, bool old_step) {
  fs::create_directories(folder);
  for (int k = 0; k < 3; ++k) write_photo(folder / ("p" + std::to_string(k) + ".jpg"), 20 + 70 * k);
  if (old_step) {
    uroko::casebook::testing::stored_book(folder / "koi.uroko", 2);
    return;
  }
  auto book = Book::create(folder / "koi.uroko");
  NewPhotos photos;
  photos.files = {folder / "p0.jpg"};
  photos.fish = "A", photos.wound = "left", photos.date = kDay;
  const auto added = book.add_photos(photos);
  MeasureRow measure;
  measure.photo = added[0].photo, measure.area_mm2 = 456.5, measure.u_mm2 = 4, measure.low95 = 448, measure.high95 = 464, measure.made = kDay;
  measure.margin_wkt = "POLYGON((1 1,20 1,20 20,1 1))";
  book.add(measure);
  write_bundle(book, folder / "given.bundle");
  auto other = Book::create(folder / "other.uroko");
  photos.files = {folder / "p2.jpg"};
  photos.fish = "B";
  other.add_photos(photos);
  write_bundle(other, folder / "other.bundle");
}

inline const std::vector<std::string> kOperations = {"new", "import photos", "measure", "edit", "undo", "migrate", "backup", "restore", "import bundle", "sheet", "table", "outlines"};

inline void operate(const std::string& name, const fs::path& folder) {
  const auto path = folder / "koi.uroko";
  if (name == "new") Book::create(folder / "new.uroko");
  if (name == "restore") restore_bundle(folder / "given.bundle", folder / "new.uroko");
  if (name == "new" || name == "restore") return;
  auto book = Book::open(path);
  if (book.read_only()) throw Error(Fault::book, "read-only", path, "is read-only", "");
  if (name == "import photos") {
    NewPhotos photos;
    photos.files = {folder / "p1.jpg", folder / "p2.jpg"};
    photos.fish = "A", photos.wound = "left", photos.date = DateTime::parse("2026-03-09").value();
    for (const auto& one : book.add_photos(photos))
      if (one.error) throw *one.error;
  }
  if (name == "measure") {
    MeasureRow measure;
    measure.photo = 1, measure.area_mm2 = 400, measure.u_mm2 = 3, measure.low95 = 394, measure.high95 = 406, measure.made = kDay;
    measure.margin_wkt = "POLYGON((1 1,20 1,20 20,1 1))";
    book.add(measure);
  }
  if (name == "edit") {
    auto fish = book.fish().at(0);
    fish.note = std::string(20000, 'n');
    book.update(fish);
  }
  if (name == "undo") book.undo();
  if (name == "backup") write_bundle(book, folder / "new.bundle");
  if (name == "import bundle") import_bundle(book, folder / "other.bundle");
  if (name == "sheet") {
    report::SheetChoices choices;
    choices.made = kDay;
    write_file_whole(folder / "out.pdf", report::recheck_sheet(report::sheet_data(book, 1, choices)));
  }
  if (name == "table") write_file_whole(folder / "out.csv", to_csv(book));
  if (name == "outlines") write_file_whole(folder / "out.wkt", report::outlines_csv(book));
}

/// Everything that must be exactly before or exactly after, as text; "" when there is none; "BROKEN ..." when it is not whole.
inline std::string digest_of_book(const fs::path& path) {
  if (!fs::exists(path)) return "none";
  try {
    const auto book = Book::open(path);
    std::string out = to_csv(book) + "step " + std::to_string(book.database().version()) + "\n";
    for (const auto& row : book.database().rows("SELECT COUNT(*), COALESCE(MAX(id), 0) FROM measure", "ii")) out += std::to_string(std::get<long long>(row[0])) + " measures\n";
    for (const auto& step : book.history()) out += step.label + (step.state == HistoryStep::State::done ? " done\n" : " not done\n");
    for (const auto& item : book.trash_list()) out += "trash " + item.text + "\n";
    const auto report = check(path);
    for (const auto& problem : report.problems) out += "BROKEN " + problem.text + "\n";
    return out;
  } catch (const std::exception& e) {
    return std::string("BROKEN ") + e.what();
  }
}

inline std::string digest(const std::string& operation, const fs::path& folder) {
  if (operation == "new" || operation == "restore") return digest_of_book(folder / "new.uroko");
  for (const auto& [written, file] : std::map<std::string, std::string>{{"sheet", "out.pdf"}, {"table", "out.csv"}, {"outlines", "out.wkt"}}) {
    if (operation != written) continue;
    if (!fs::exists(folder / file)) return "none";
    const auto bytes = read_file(folder / file);
    // A PDF says when it was made: its length and its end stand for it.
    return operation == "sheet" ? std::to_string(bytes.size()) + bytes.substr(bytes.size() - std::min<std::size_t>(bytes.size(), 6)) : bytes;
  }
  if (operation == "backup") {
    if (!fs::exists(folder / "new.bundle")) return "none";
    try {
      restore_bundle(folder / "new.bundle", folder / "from-bundle.uroko");
    } catch (const std::exception& e) {
      return std::string("BROKEN ") + e.what();
    }
    return digest_of_book(folder / "from-bundle.uroko");
  }
  return digest_of_book(folder / "koi.uroko");
}

}  // namespace uroko::faults
