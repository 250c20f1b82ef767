#pragma once
#include <CLI/CLI.hpp>
#include <cstdio>
#include <memory>
#include <nlohmann/json.hpp>

#include "uroko/casebook/book.h"

namespace uroko::cli {

using Json = nlohmann::ordered_json;

/// What every verb of a book takes.
struct BookOptions {
  std::string book;
  bool as_json = false;
};

/// A subcommand with its BOOK and --json.
template <class Options> CLI::App* book_verb(CLI::App& app, const std::string& name, const std::string& help, std::shared_ptr<Options>& options) {
  auto* verb = app.add_subcommand(name, help);
  options = std::make_shared<Options>();
  verb->add_option("BOOK", options->book, "The case book, a folder NAME.uroko")->required();
  verb->add_flag("--json", options->as_json, "Print one JSON value");
  return verb;
}

/// Opens and tells the opening's warnings on stderr.
casebook::Book open_book(const BookOptions& options, casebook::Access access);
casebook::Fish need_fish(const casebook::Book& book, const std::string& name);
casebook::Wound need_wound(const casebook::Book& book, const casebook::Fish& fish, const std::string& name);
/// Throws Error(Fault::usage) for anything but an ISO 8601 date.
DateTime need_date(const std::string& text);
void print(const Json& json);
Json date_or_null(const std::optional<DateTime>& date);

void add_book_records(CLI::App& book);
void add_book_visit(CLI::App& book);
void add_book_care(CLI::App& book);
void add_book_measure(CLI::App& book);
void add_book_curve(CLI::App& book);
void add_book_keeping(CLI::App& book);

}  // namespace uroko::cli
