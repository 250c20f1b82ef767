#include "app/kept_json.h"

#include <nlohmann/json.hpp>

#include "uroko/base/error.h"
#include "uroko/base/json.h"
#include "uroko/casebook/measured.h"
#include "uroko/geometry/polygon.h"

namespace uroko::app {

using nlohmann::json;

namespace {

json pair_of(const ImagePoint& p) { return {p.x, p.y}; }
ImagePoint point_of(const json& j) { return {j.at(0).get<double>(), j.at(1).get<double>()}; }

}  // namespace

json to_json(const measure::ScaleChoice& choice) {
  if (const auto* card = std::get_if<measure::ByCard>(&choice)) return {{"by", "card"}, {"print_scale", card->print_scale}};
  if (const auto* ruler = std::get_if<measure::ByRuler>(&choice)) return {{"by", "ruler"}, {"from", pair_of(ruler->from)}, {"to", pair_of(ruler->to)}, {"length_mm", ruler->length_mm}};
  if (const auto* disc = std::get_if<measure::ByDisc>(&choice)) return {{"by", "disc"}, {"near", pair_of(disc->near)}, {"diameter_mm", disc->diameter_mm}};
  if (const auto* board = std::get_if<measure::ByBoard>(&choice)) return {{"by", "board"}, {"columns", board->columns}, {"rows", board->rows}, {"square_mm", board->square_mm}};
  const auto& box = std::get<measure::ByRectangle>(choice);
  json corners = json::array();
  for (const auto& c : box.corners) corners.push_back(pair_of(c));
  return {{"by", "rectangle"}, {"corners", corners}, {"width_mm", box.width_mm}, {"height_mm", box.height_mm}};
}

std::optional<measure::ScaleChoice> choice_from(const json& j) {
  try {
    const auto by = j.at("by").get<std::string>();
    if (by == "card") return measure::ByCard{j.value("print_scale", 1.0)};
    if (by == "ruler") return measure::ByRuler{point_of(j.at("from")), point_of(j.at("to")), j.at("length_mm").get<double>()};
    if (by == "disc") return measure::ByDisc{point_of(j.at("near")), j.at("diameter_mm").get<double>()};
    if (by == "board") return measure::ByBoard{whole_number(j.at("columns"), 0, 1000), whole_number(j.at("rows"), 0, 1000), j.at("square_mm").get<double>()};
    if (by == "rectangle") {
      measure::ByRectangle box;
      for (std::size_t i = 0; i < 4; ++i) box.corners[i] = point_of(j.at("corners").at(i));
      box.width_mm = j.at("width_mm").get<double>();
      box.height_mm = j.at("height_mm").get<double>();
      return box;
    }
  } catch (const json::exception&) {
  }
  return std::nullopt;
}

json to_json(const LensChoice& lens) {
  if (lens.by == LensChoice::By::none) return {{"by", "none"}};
  if (lens.by == LensChoice::By::file) return {{"by", "file"}, {"file", lens.file.string()}};
  return {{"by", "itself"}};
}

LensChoice lens_from(const json& j) {
  if (!j.is_object() || !j.contains("by") || !j["by"].is_string()) return {};
  const auto by = j["by"].get<std::string>();
  if (by == "none") return {LensChoice::By::none, {}};
  if (by == "file" && j.contains("file") && j["file"].is_string()) return {LensChoice::By::file, j["file"].get<std::string>()};
  return {};
}

json to_json(const scale::PlaneMap& map) {
  auto j = casebook::to_json(map);
  j["warnings"] = warnings_json(map.warnings);
  return j;
}

std::optional<scale::PlaneMap> map_from(const json& j) {
  try {
    auto map = casebook::plane_map_from(j);
    map.warnings = warnings_from(j.value("warnings", json::array()));
    return map;
  } catch (const json::exception&) {
  } catch (const Error&) {
  }
  return std::nullopt;
}

json to_json(const margin::Margin& margin) {
  return {{"outline", to_wkt(margin.outline)}, {"from", static_cast<int>(margin.from)}, {"doubt_px", margin.doubt_px}, {"correlation_px", margin.correlation_px},
          {"common_px", margin.common_px}, {"proposal", margin.proposal}, {"warnings", warnings_json(margin.warnings)}};
}

margin::Margin margin_from(const json& j) {
  margin::Margin m;
  if (j.is_string()) {  // as it was kept once: the outline alone
    m.outline = outline_from_wkt<ImagePoint>(j.get<std::string>());
    return m;
  }
  m.outline = outline_from_wkt<ImagePoint>(j.at("outline").get<std::string>());
  m.from = static_cast<margin::From>(whole_number(j.at("from"), 0, 3));
  m.doubt_px = j.at("doubt_px").get<std::vector<double>>();
  m.correlation_px = j.at("correlation_px").get<double>();
  m.common_px = j.at("common_px").get<double>();
  m.proposal = j.at("proposal").get<bool>();
  m.warnings = warnings_from(j.at("warnings"));
  return m;
}

}  // namespace uroko::app
