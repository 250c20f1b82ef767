#pragma once
#include <filesystem>
#include <string>
#include <vector>

#include "uroko/base/token.h"
#include "uroko/casebook/book.h"

namespace uroko::casebook {

/// What a check found. Problems make the book unsound; notes are harmless.
struct CheckReport {
  std::vector<Warning> problems, notes;
  int photos = 0, measures = 0;  ///< looked at
  bool ok() const { return problems.empty(); }
};
/// Reads everything and changes nothing: SQLite's integrity check, foreign keys, every row's values, every photo's size and SHA-256, files without a row.
/// Also for a book that cannot be opened: then that is the problem.
CheckReport check(const std::filesystem::path& folder, const Token& token = {});

/// One file with the whole book as it stands now (online: others may go on working): a zip of manifest.json (sizes and SHA-256 of all), book.sqlite
/// and originals/. Written beside its name, fsynced, read back against its hashes, and only then renamed. Throws when `target` exists.
void write_bundle(const Book& book, const std::filesystem::path& target, const Token& token = {});

/// A new book from a bundle. Nothing is left when the archive is not exactly what its manifest says. Throws when `folder` exists.
void restore_bundle(const std::filesystem::path& bundle, const std::filesystem::path& folder, const Token& token = {});

/// What an import brought.
struct Imported {
  int fish = 0, wounds = 0, visits = 0, photos = 0, measures = 0, others = 0;
  int known = 0;                   ///< rows that were there already
  std::vector<Warning> notes;      ///< what could not be taken over, and why
  int added() const { return fish + wounds + visits + photos + measures + others; }
};
/// Brings the records of a bundle into a book: fish and wounds meet by name, visits by date, photos by hash; what is there already is left alone. One step of undo.
Imported import_bundle(Book& book, const std::filesystem::path& bundle, const Token& token = {});

/// RFC 4180 with one row a look, event, weight or water reading; text cells that a spreadsheet would run are neutralised.
std::string to_csv(const Book& book);
/// Reads such a table (any order of columns; only fish and date are needed). A measure needs its photo in the book. One step of undo.
/// Throws Error(Fault::input) naming the line of the first fault; nothing is stored then.
Imported import_csv(Book& book, const std::filesystem::path& file);

/// true when the file begins like a zip archive.
bool looks_like_bundle(const std::filesystem::path& file);

}  // namespace uroko::casebook
