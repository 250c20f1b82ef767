#pragma once
#include "report/flow.h"
#include "uroko/report/sheet.h"

namespace uroko::report {

constexpr double kPointsPerMm = 72 / 25.4;
constexpr double kCheckMm = 50;

/// Which of `all` margins are drawn: eight at most, first and last always.
std::vector<std::size_t> drawn_margins(std::size_t all);

/// The margins of all visits one in the other at 1:1, with a check length to measure on the print.
void true_scale_margins(Flow& flow, const SheetData& data);

}  // namespace uroko::report
