#pragma once
#include <opencv2/core.hpp>
#include <string>

#include "uroko/report/paper.h"
#include "uroko/scale/card.h"

namespace uroko::report {

/// The card alone, edge to edge, 8-bit BGR, white ground; width_mm * px_per_mm pixels wide, rounded.
/// A point at mm lies at pixel mm * px_per_mm - 0.5. Precondition: 1 <= px_per_mm <= 200.
cv::Mat card_picture(double px_per_mm);
/// The same for any layout.
cv::Mat card_picture(const scale::CardLayout& card, double px_per_mm);

/// A page at true size with the card, a cutting outline and an instruction line. `extension`: ".pdf" or ".svg".
/// Throws Error(Fault::usage) for others.
std::string card_page(const scale::CardLayout& card, const std::string& extension, Paper paper);

}  // namespace uroko::report
