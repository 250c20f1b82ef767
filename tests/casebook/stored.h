#pragma once
#include <filesystem>
#include <fstream>

#include "casebook/database.h"
#include "uroko/base/file.h"

namespace uroko::casebook::testing {

/// A book as a program of that schema step left it, from tests/casebook/stored/step_N.sql.
inline std::filesystem::path stored_book(const std::filesystem::path& folder, int step) {
  std::filesystem::create_directories(folder / "originals");
  Database database(folder / "book.sqlite", Database::Mode::create);
  database.script("PRAGMA foreign_keys=OFF;");
  database.script(read_file(std::string(UROKO_SOURCE) + "/tests/casebook/stored/step_" + std::to_string(step) + ".sql"));
  return folder;
}

}  // namespace uroko::casebook::testing
