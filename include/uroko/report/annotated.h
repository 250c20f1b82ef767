#pragma once
#include <string>

#include "uroko/measure/one_photo.h"
#include "uroko/report/scene.h"

namespace uroko::report {

/// The photo, at most `longest` points on its longer side, with the margin (light under colour), the reference's frame, the area
/// with its interval and a 10 mm bar.
Scene annotated(const measure::PhotoResult& result, double longest = 1600);

/// The same as PNG bytes, two pixels a point.
std::string annotated_png(const measure::PhotoResult& result);

}  // namespace uroko::report
