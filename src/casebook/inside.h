#pragma once
#include "casebook/files.h"
#include "casebook/store.h"

namespace uroko::casebook {

/// What a Book holds.
struct Book::Inside {
  std::filesystem::path folder;
  std::unique_ptr<Database> database;
  std::unique_ptr<Store> store;
  std::optional<Database::Mode> mode;  ///< of the file; nothing: an older book that may not be written, brought up to date in memory
  bool read_only = false;
  std::vector<Warning> warnings;

  void need_write() const {
    if (read_only)
      throw Error(Fault::book, "read-only", folder, "is open read-only and nothing was changed", warnings.empty() ? "open it for writing" : warnings.front().text);
  }
};

/// Runs f as one step of undo.
template <class F> void as_step(Book& book, const std::string& label, F&& f) {
  Book::Step step(book, label);
  f();
  step.commit();
}

std::string timestamp_for_file();
void migrate(Database& database, int to);

}  // namespace uroko::casebook
