#pragma once
#include <string>
#include <vector>

#include "uroko/report/paint.h"

namespace uroko::report {

/// What Cairo 1.16 cannot write, as an incremental update (ISO 32000-1, 7.5.6) behind its bytes: the document's language, the title in the window's
/// bar, XMP metadata, and the words for each Figure in the order they were drawn. The bytes must be Cairo's, with a cross-reference table.
std::string pdf_finished(std::string pdf, const About& about, const std::vector<std::string>& figures);

}  // namespace uroko::report
