// Outlines and strokes as text: read, checked, written and read again the same.
#include <stdexcept>

#include "scratch.h"
#include "uroko/geometry/polygon.h"

using namespace uroko;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string wkt(fuzz::text(data, size));
  try {
    const auto outline = outline_from_wkt<ImagePoint>(wkt);
    if (find_fault(outline)) return 0;
    const auto again = outline_from_wkt<ImagePoint>(to_wkt(outline));
    fuzz::must(again.parts.size() == outline.parts.size());
    for (std::size_t k = 0; k < outline.parts.size(); ++k) fuzz::must(again.parts[k].outer.size() == outline.parts[k].outer.size() && again.parts[k].holes.size() == outline.parts[k].holes.size());
    fuzz::must(area(outline) >= 0 && perimeter(outline) >= 0);
  } catch (const std::invalid_argument&) {
  }
  try {
    for (const auto& line : lines_from_wkt(wkt)) {
      fuzz::must(!line.empty());
      if (line.size() > 1) fuzz::must(lines_from_wkt(line_to_wkt(line)).front().size() == line.size());
    }
  } catch (const std::invalid_argument&) {
  }
  return 0;
}
