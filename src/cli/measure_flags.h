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
  std::string ruler, disc, rectangle, lens, outline, around, seed, body_axis;
  std::vector<std::string> keep, drop;
  std::optional<double> body_depth, body_width, print_length;
  double plane_offset = measure::MeasureOptions{}.plane_offset_u_mm;

  bool has_margin() const { return automatic || !outline.empty() || !around.empty() || !seed.empty(); }
};

/// The scale, margin and flank options on a verb. `flags` must outlive it.
void add_measure_options(CLI::App& verb, MeasureFlags& flags);

/// Throws Error(Fault::usage) for what contradicts itself. Without a margin option: no hint.
measure::PhotoRequest request_of(const MeasureFlags& flags);

[[noreturn]] void misused(const std::string& happened, const std::string& advice);

}  // namespace uroko::cli
