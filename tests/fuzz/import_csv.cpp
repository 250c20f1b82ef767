// A table brought into a case book: all of it or nothing, one step of undo.
#include "scratch.h"
#include "uroko/base/error.h"
#include "uroko/casebook/keeping.h"

using namespace uroko;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const auto path = fuzz::scratch() / "koi.uroko";
  static auto book = casebook::Book::create(path);
  static const std::string empty = casebook::to_csv(book);
  const auto file = fuzz::put("table.csv", fuzz::text(data, size));
  try {
    const auto brought = casebook::import_csv(book, file);
    const auto table = casebook::to_csv(book);
    // What was written out comes in again as known.
    if (brought.added() > 0) {
      fuzz::must(table != empty);
      const auto again = casebook::import_csv(book, fuzz::put("again.csv", table));
      fuzz::must(again.added() == 0);
      fuzz::must(casebook::to_csv(book) == table);
    }
  } catch (const Error& e) {
    fuzz::must(e.fault() == Fault::input);
  }
  while (book.can_undo()) book.undo();
  fuzz::must(casebook::to_csv(book) == empty);
  static int runs = 0;
  if (++runs % 500 == 0) {  // undone rows stay in the file: begin anew
    book = casebook::Book::create(fuzz::scratch() / ("koi" + std::to_string(runs) + ".uroko"));
    std::error_code ignored;
    std::filesystem::remove_all(runs == 500 ? path : fuzz::scratch() / ("koi" + std::to_string(runs - 500) + ".uroko"), ignored);
  }
  return 0;
}
