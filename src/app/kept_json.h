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

/// As the case book keeps it (casebook/measured.h), with its warnings.
nlohmann::json to_json(const scale::PlaneMap& map);
/// Nothing when a part is missing or not a number.
std::optional<scale::PlaneMap> map_from(const nlohmann::json& json);

/// A margin with its doubt: without it a restored trace would look surer than it is. The way back throws a JSON exception or Error where it is damaged.
nlohmann::json to_json(const margin::Margin& margin);
margin::Margin margin_from(const nlohmann::json& json);

}  // namespace uroko::app
