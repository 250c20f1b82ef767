#include "cli/book.h"

#include "cli/cli.h"
#include "uroko/base/error.h"

namespace uroko::cli {

using namespace casebook;

Book open_book(const BookOptions& options, Access access) {
  auto book = Book::open(options.book, access);
  for (const auto& warning : book.warnings()) std::fprintf(stderr, "uroko: %s: note: %s\n", options.book.c_str(), warning.text.c_str());
  if (access == Access::write && book.read_only())
    throw Error(Fault::book, book.warnings().empty() ? "read-only" : book.warnings().front().code, options.book, "cannot be written",
                book.warnings().empty() ? "check the permissions" : book.warnings().front().text);
  return book;
}

Fish need_fish(const Book& book, const std::string& name) {
  if (auto fish = book.fish_named(name)) return *fish;
  throw Error(Fault::usage, "no-such-fish", book.folder(), "there is no fish named " + name, "see uroko book list");
}

Wound need_wound(const Book& book, const Fish& fish, const std::string& name) {
  if (auto wound = book.wound_named(fish.id, name)) return *wound;
  throw Error(Fault::usage, "no-such-wound", book.folder(), fish.name + " has no wound named " + name, "see uroko book list");
}

DateTime need_date(const std::string& text) {
  if (const auto date = DateTime::parse(text)) return *date;
  throw Error(Fault::usage, "date", {}, "\"" + text + "\" is not a date", "write it as 2026-03-02 or 2026-03-02T10:14");
}

void print(const Json& json) { std::printf("%s\n", json.dump(2, ' ', false, Json::error_handler_t::replace).c_str()); }

Json date_or_null(const std::optional<DateTime>& date) { return date ? Json(date->iso()) : Json(nullptr); }

void add_book(CLI::App& app) {
  auto* book = app.add_subcommand("book", "A case book: fish, wounds, visits, photos, measures and the care around them");
  book->require_subcommand(1);
  book->footer("Every change is on the disk when the command returns, and can be undone with `uroko book undo`.\n"
               "It stores and does arithmetic; it recommends no drug, dose or treatment.");
  add_book_records(*book);
  add_book_visit(*book);
  add_book_care(*book);
  add_book_measure(*book);
  add_book_curve(*book);
  add_book_keeping(*book);
}

}  // namespace uroko::cli
