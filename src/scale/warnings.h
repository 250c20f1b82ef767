#pragma once
#include <string>

#include "uroko/scale/plane_map.h"

namespace uroko::scale {

inline Warning warning(std::string code, std::string text) { return {std::move(code), std::move(text)}; }

/// Beyond 30 degrees a height off the reference's plane weighs at least a sixth more than seen square on.
void warn_of_tilt(PlaneMap& map);

}  // namespace uroko::scale
