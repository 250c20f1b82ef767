#pragma once
#include <string>

#include "uroko/base/date.h"
#include "uroko/base/estimate.h"

namespace uroko::report {

/// Numbers as every drawing and sheet prints them: three significant digits or so, a true minus sign.
std::string mm2_text(double mm2);                  ///< "457", "45.7", "4.57"
std::string range_text(const Estimate& estimate);  ///< "448–465"
std::string signed_text(double value, int decimals);  ///< "+3.1", "−38.1"
std::string short_date(const DateTime& date, bool year = false);  ///< "2 Mar", "2 Mar 2026"

}  // namespace uroko::report
