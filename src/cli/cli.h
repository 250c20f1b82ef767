#pragma once
#include <CLI/CLI.hpp>
#include <filesystem>
#include <functional>

namespace uroko::cli {

using OpenWindow = std::function<int(const std::filesystem::path& book)>;

/// The whole command line. Exit codes and stderr as the README's contract says.
int run(int argc, char** argv, const OpenWindow& open_window);

/// Each verb adds its subcommand; its callback does the work and throws uroko::Error on trouble.
void add_measure(CLI::App& app);
void add_card(CLI::App& app);
void add_curve(CLI::App& app);
void add_book(CLI::App& app);
void add_lens(CLI::App& app);
void add_open(CLI::App& app, const OpenWindow& open_window);
void add_guide(CLI::App& app);
void add_manual(CLI::App& app);

}  // namespace uroko::cli
