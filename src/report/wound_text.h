#pragma once
#include "uroko/base/text.h"
#include "uroko/report/sheet.h"

namespace uroko::report {

/// The wound's name, with site and side unless the name says them already.
inline std::string wound_text(const SheetData& data) {
  const std::string named = lower_ascii(data.wound);
  std::string text = data.wound;
  const auto add = [&](const std::string& what, const std::string& shown) {
    if (!what.empty() && named.find(lower_ascii(what)) == std::string::npos) text += (text.empty() ? "" : " · ") + shown;
  };
  add(data.site, data.site);
  add(data.side, data.side + " side");
  return text;
}

}  // namespace uroko::report
