#pragma once
#include <nlohmann/json_fwd.hpp>
#include <optional>

#include "uroko/app/desk.h"

namespace uroko::app {

// How a scale choice and a plane map are kept, in the case book's scale_json and in the unfinished trace.
nlohmann::json to_json(const measure::ScaleChoice& choice);
nlohmann::json to_json(const LensChoice& lens);
LensChoice lens_from(const nlohmann::json& j);  ///< itself, where it says nothing usable
std::optional<measure::ScaleChoice> choice_from(const nlohmann::json& json);

/// The map with what is needed to use it again on that photo without its pixels: homography, camera, covariance.
nlohmann::json to_json(const scale::PlaneMap& map);
/// Nothing when a part is missing or not a number.
std::optional<scale::PlaneMap> map_from(const nlohmann::json& json);

}  // namespace uroko::app
