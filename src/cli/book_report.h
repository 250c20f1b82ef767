#pragma once
#include <CLI/CLI.hpp>

namespace uroko::cli {

/// `uroko book report` and `uroko book extract`.
void add_book_report(CLI::App& book);

}  // namespace uroko::cli
