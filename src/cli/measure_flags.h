#pragma once
#include <CLI/CLI.hpp>
#include <optional>
#include <string>
#include <vector>

#include "uroko/measure/one_photo.h"

namespace uroko::cli {

/// How a photo is to be measured, as typed.
struct MeasureFlags {
  bool card = false, automatic = false;
  std::string ruler, disc, rectangle, board, check, lens, around, seed, body_axis, site;
  std::vector<std::string> outlines, keep, drop;
  std::optional<double> square, body_depth, body_width, print_length;
  double plane_offset = measure::MeasureOptions{}.plane_offset_u_mm;

  bool has_margin() const { return automatic || !outlines.empty() || !around.empty() || !seed.empty(); }
};

/// The scale, margin and flank options on a verb. `flags` must outlive it.
void add_measure_options(CLI::App& verb, MeasureFlags& flags);

/// "9x6" as inner corners across and down, 3..40 each. Throws Error(Fault::usage).
std::pair<int, int> corners_of(const std::string& text);

/// Throws Error(Fault::usage) for what contradicts itself. Several outlines are repeat traces of one photo. Without a margin option: no hint.
measure::PhotoRequest request_of(const MeasureFlags& flags);

[[noreturn]] void misused(const std::string& happened, const std::string& advice);

}  // namespace uroko::cli
