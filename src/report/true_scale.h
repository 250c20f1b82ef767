#pragma once
#include "report/flow.h"
#include "uroko/report/sheet.h"

namespace uroko::report {

constexpr double kPointsPerMm = 72 / 25.4;
constexpr double kCheckMm = 50;

/// The margins of all visits one in the other at 1:1, with a check length to measure on the print.
void true_scale_margins(Flow& flow, const SheetData& data);

}  // namespace uroko::report
