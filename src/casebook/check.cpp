#include <nlohmann/json.hpp>
#include <set>

#include "casebook/inside.h"
#include "casebook/originals.h"
#include "uroko/base/text.h"
#include "uroko/casebook/keeping.h"
#include "uroko/geometry/polygon.h"

namespace uroko::casebook {

namespace fs = std::filesystem;

namespace {

void check_measures(const Database& db, CheckReport& report) {
  db.each("SELECT m.id, m.margin_wkt, m.scale_json, m.budget_json, m.bed_json, m.warnings_json, m.options_json, m.photo_sha256, p.sha256, m.area_mm2, m.u_mm2 "
          "FROM measure m JOIN photo p ON p.id = m.photo ORDER BY m.id",
          "ittttttttdd", {}, [&](const Values& row) {
            ++report.measures;
            const auto id = "measure " + (std::holds_alternative<long long>(row[0]) ? std::to_string(std::get<long long>(row[0])) : "?");
            const auto text = [&](int k) { return std::holds_alternative<std::string>(row[k]) ? std::get<std::string>(row[k]) : std::string(); };
            const auto problem = [&](const std::string& what) { report.problems.push_back({"measure", id + " " + what}); };
            if (!text(1).empty()) {
              try {
                outline_from_wkt<ImagePoint>(text(1));
              } catch (const std::invalid_argument& e) {
                problem(std::string("holds a margin that cannot be read (") + e.what() + ")");
              }
            }
            for (int k = 2; k <= 6; ++k)
              if (!text(k).empty() && !nlohmann::json::accept(text(k))) problem("holds details that are not JSON");
            if (text(7) != text(8)) problem("was made on another photo than its row names");
            for (int k = 9; k <= 10; ++k)
              if (!std::holds_alternative<double>(row[k]) || !(std::get<double>(row[k]) >= 0)) problem("holds an area that is not a number");
          });
}

void check_files(const Database& db, const fs::path& folder, CheckReport& report, const Token& token) {
  std::set<std::string> known;
  const auto photos = db.rows("SELECT sha256, extension, MAX(bytes), MIN(original_name) FROM photo GROUP BY sha256, extension ORDER BY sha256", "ttit");
  for (const auto& row : photos) {
    if (token.cancelled()) return;
    ++report.photos;
    token.progress(static_cast<double>(report.photos) / static_cast<double>(photos.size()));
    const auto text = [&](int k) { return std::holds_alternative<std::string>(row[k]) ? std::get<std::string>(row[k]) : std::string(); };
    const auto label = "photo " + text(3) + " (" + text(0).substr(0, 12) + "...)";
    if (!is_sha256(text(0)) || !is_extension(text(1))) {
      report.problems.push_back({"photo", label + " has no proper hash or extension"});
      continue;
    }
    const auto file = original_path(folder, text(0), text(1));
    known.insert(file.string());
    std::error_code error;
    if (!fs::is_regular_file(fs::symlink_status(file, error))) {
      report.problems.push_back({"photo-missing", label + ": its file is missing"});
      continue;
    }
    try {
      if (sha256_of_file(file) != text(0)) report.problems.push_back({"photo-changed", label + ": its file is not what was added"});
    } catch (const Error& e) {
      report.problems.push_back({"photo-unreadable", label + ": " + e.happened()});
    }
  }
  std::error_code error;
  for (auto entry = fs::recursive_directory_iterator(folder / "originals", error); entry != fs::recursive_directory_iterator(); entry.increment(error)) {
    if (error) break;
    const auto& path = entry->path();
    if (path.filename().string().rfind(kStaging, 0) == 0) {
      entry.disable_recursion_pending();
      report.notes.push_back({"leftover", path.filename().string() + " was left by an interrupted import; the next import removes it"});
      continue;
    }
    if (entry->is_directory(error) || known.contains(path.string())) continue;
    // An import interrupted between the photo and its row leaves a sound photo that no row names: adding it again takes it over.
    const auto stem = path.stem().string();
    bool sound = false;
    try {
      sound = is_sha256(stem) && entry->is_regular_file(error) && sha256_of_file(path) == stem;
    } catch (const Error&) {
    }
    if (sound) report.notes.push_back({"orphan", path.filename().string() + " belongs to no row; it was left by an interrupted import"});
    else report.problems.push_back({"foreign-file", path.lexically_relative(folder).string() + " does not belong to the book"});
  }
}

}  // namespace

CheckReport check(const fs::path& folder, const Token& token) {
  CheckReport report;
  std::optional<Book> book;
  try {
    book = Book::open(folder, Access::read);
  } catch (const Error& e) {
    // What is not there, or held by another program, says nothing about the book.
    if (e.code() == "missing" || e.code() == "not-a-book" || e.code() == "locked") throw;
    report.problems.push_back({e.code(), e.happened()});
    return report;
  }
  for (const auto& warning : book->warnings()) report.notes.push_back(warning);
  const auto& db = book->database();
  try {
    for (const auto& text : db.integrity_check(100)) report.problems.push_back({"integrity", text});
    for (const auto& text : db.foreign_key_check()) report.problems.push_back({"foreign-key", text});
    for_each_table([&](auto empty) {
      using Row = decltype(empty);
      try {
        select<Row>(db, "ORDER BY t.id");
      } catch (const Error& e) {
        report.problems.push_back({e.code(), e.happened()});
      }
    });
    check_measures(db, report);
    check_files(db, book->folder(), report, token);
  } catch (const Error& e) {
    report.problems.push_back({e.code(), e.happened()});
  }
  return report;
}

}  // namespace uroko::casebook
