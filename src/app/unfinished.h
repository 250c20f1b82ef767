#pragma once
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "uroko/app/desk.h"

namespace uroko::app {

/// The desk's history as it is kept beside the book, so that undo works across a restart and a crash loses nothing.
struct UnfinishedTrace {
  std::filesystem::path file, book;  ///< absolute; book: "" without one
  PhotoPlace place;
  std::vector<History<Work>::Step> steps;
  std::size_t at = 0;
  std::optional<std::size_t> accepted;  ///< place of the step that the book holds
};

/// The newest steps of the desk; shares their values.
UnfinishedTrace unfinished_trace(const Desk& desk, const std::filesystem::path& book);
std::string unfinished_text(const UnfinishedTrace& trace);
/// Nothing where the file is missing or damaged: unfinished work must not keep anything shut.
std::optional<UnfinishedTrace> read_unfinished(const std::filesystem::path& file);

}  // namespace uroko::app
