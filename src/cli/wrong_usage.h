#pragma once
#include <CLI/CLI.hpp>
#include <string>

namespace uroko::cli {

/// One line for a command line that CLI11 could not take: what was not understood, the nearest word that is, and where the help stands.
std::string explain_usage(const CLI::App& app, const CLI::ParseError& error);

}  // namespace uroko::cli
