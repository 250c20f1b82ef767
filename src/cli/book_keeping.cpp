// uroko book export, import, check, backup, restore.
#include "cli/book.h"
#include "uroko/base/error.h"
#include "uroko/base/file.h"
#include "uroko/base/json.h"
#include "uroko/casebook/keeping.h"

namespace uroko::cli {

using namespace casebook;

namespace {

struct ExportOptions : BookOptions {
  bool csv = false;
  std::string out;
};

void run_export(const ExportOptions& options) {
  const auto book = open_book(options, Access::read);
  if (!options.csv) {
    if (options.out.empty()) throw Error(Fault::usage, "missing", {}, "export needs --csv or --out", "give --csv, --csv --out TABLE.csv or --out BUNDLE");
    write_bundle(book, options.out);
  } else if (!options.out.empty()) {
    write_file_whole(options.out, to_csv(book));
  } else if (options.as_json) {
    print({{"csv", to_csv(book)}});
    return;
  } else {
    const auto text = to_csv(book);
    std::fwrite(text.data(), 1, text.size(), stdout);
    return;
  }
  if (options.as_json) print({{"written", options.out}});
  else std::printf("%s is written\n", options.out.c_str());
}

struct ImportOptions : BookOptions {
  std::string file;
};

void run_import(const ImportOptions& options) {
  auto book = open_book(options, Access::write);
  const auto counts = looks_like_bundle(options.file) ? import_bundle(book, options.file) : import_csv(book, options.file);
  for (const auto& note : counts.notes) std::fprintf(stderr, "uroko: %s: note: %s\n", options.file.c_str(), note.text.c_str());
  if (options.as_json) {
    print({{"added", {{"fish", counts.fish}, {"wounds", counts.wounds}, {"visits", counts.visits}, {"photos", counts.photos}, {"measures", counts.measures}, {"others", counts.others}}},
           {"already", counts.known}, {"notes", warnings_json(counts.notes)}});
    return;
  }
  std::printf("Taken over: %d fish, %d wounds, %d visits, %d photos, %d measures, %d other rows; %d were there already\n", counts.fish, counts.wounds, counts.visits, counts.photos,
              counts.measures, counts.others, counts.known);
}

void run_check(const BookOptions& options) {
  const auto report = check(options.book);
  if (options.as_json) {
    print({{"ok", report.ok()}, {"problems", warnings_json(report.problems)}, {"notes", warnings_json(report.notes)}, {"photos", report.photos}, {"measures", report.measures}});
  } else {
    for (const auto& problem : report.problems) std::printf("PROBLEM %s: %s\n", problem.code.c_str(), problem.text.c_str());
    for (const auto& note : report.notes) std::printf("note %s: %s\n", note.code.c_str(), note.text.c_str());
    if (report.ok()) std::printf("Sound: %d photos and %d measures were looked at\n", report.photos, report.measures);
  }
  if (!report.ok())
    throw Error(Fault::book, "problems", options.book, "has " + std::to_string(report.problems.size()) + (report.problems.size() == 1 ? " problem" : " problems") + "; nothing was changed",
                "restore the latest backup: uroko book restore");
}

struct BackupOptions : BookOptions {
  std::string out;
};

}  // namespace

void add_book_keeping(CLI::App& book) {
  {
    std::shared_ptr<ExportOptions> options;
    auto* verb = book_verb(book, "export", "Write the whole book as one file, or its records as a table", options);
    verb->add_flag("--csv", options->csv, "A table (RFC 4180), on stdout or to --out");
    verb->add_option("--out", options->out, "The bundle (or with --csv the table) to write");
    verb->callback([=] { run_export(*options); });
  }
  {
    std::shared_ptr<ImportOptions> options;
    auto* verb = book_verb(book, "import", "Bring in a bundle or a table; what is there already is left alone", options);
    verb->add_option("FILE", options->file, "A bundle of `book export --out` or a table of `book export --csv`")->required();
    verb->callback([=] { run_import(*options); });
  }
  {
    std::shared_ptr<BookOptions> options;
    auto* verb = book_verb(book, "check", "Look at every row and every photo; changes nothing", options);
    verb->callback([=] { run_check(*options); });
  }
  {
    std::shared_ptr<BackupOptions> options;
    auto* verb = book_verb(book, "backup", "Write a verified copy of the whole book as one file; others may go on working", options);
    verb->add_option("OUT", options->out, "The file to write")->required();
    verb->callback([=] {
      write_bundle(open_book(*options, Access::read), options->out);
      if (options->as_json) print({{"written", options->out}});
      else std::printf("%s is written and was read back\n", options->out.c_str());
    });
  }
  {
    auto options = std::make_shared<BackupOptions>();
    auto* verb = book.add_subcommand("restore", "Make a book from a backup");
    verb->add_option("BACKUP", options->out, "The file that `book backup` wrote")->required();
    verb->add_option("BOOK", options->book, "The book to make; nothing may stand there")->required();
    verb->add_flag("--json", options->as_json, "Print one JSON value");
    verb->callback([=] {
      restore_bundle(options->out, options->book);
      if (options->as_json) print({{"book", options->book}});
      else std::printf("%s is restored\n", options->book.c_str());
    });
  }
}

}  // namespace uroko::cli
