#pragma once
#include <string>

#include "uroko/report/paint.h"

namespace uroko::report {

/// SVG 1.1 with real text (it can be read aloud, searched and edited), photos as JPEG inside.
std::string paint_svg(const Scene& scene, const About& about);

}  // namespace uroko::report
