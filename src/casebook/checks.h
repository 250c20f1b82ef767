#pragma once
#include "uroko/casebook/records.h"

namespace uroko::casebook {

/// Throw Error(Fault::usage) when a row says what cannot be; `what` names it for lists and undo labels.
void check_row(const Fish& row);
void check_row(const Wound& row);
void check_row(const Visit& row);
void check_row(const PhotoRow& row);
void check_row(const MeasureRow& row);
void check_row(const Event& row);
void check_row(const Weight& row);
void check_row(const WaterReading& row);
void check_row(const Swab& row);
void check_row(const Finding& row);
void check_row(const Prescription& row);

std::string what(const Fish& row);
std::string what(const Wound& row);
std::string what(const Visit& row);
std::string what(const PhotoRow& row);
std::string what(const MeasureRow& row);
std::string what(const Event& row);
std::string what(const Weight& row);
std::string what(const WaterReading& row);
std::string what(const Swab& row);
std::string what(const Finding& row);
std::string what(const Prescription& row);

}  // namespace uroko::casebook
