#include "app/kept_json.h"

#include <Eigen/LU>
#include <cmath>
#include <nlohmann/json.hpp>

#include "uroko/base/json.h"

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
  json h = json::array(), covariance = json::array(), reference = json::array(), reference_mm = json::array(), fitted_mm = json::array();
  for (int r = 0; r < 3; ++r)
    for (int c = 0; c < 3; ++c) h.push_back(map.plane_from_ideal.matrix()(r, c));
  for (int r = 0; r < 8; ++r)
    for (int c = 0; c < 8; ++c) covariance.push_back(map.covariance(r, c));
  for (const auto& p : map.reference) reference.push_back(pair_of(p));
  for (const auto& p : map.reference_mm) reference_mm.push_back({p.x, p.y});
  for (const auto& p : map.fitted_mm) fitted_mm.push_back({p.x, p.y});
  const auto& k = map.camera;
  return {{"kind", scale::name(map.kind)}, {"plane_from_ideal", h}, {"covariance", covariance}, {"rms_px", map.rms_px}, {"points", map.points}, {"scale_relative_u", map.scale_relative_u},
          {"reference", reference}, {"reference_mm", reference_mm}, {"tilt_known", map.tilt_known}, {"tilt_deg", map.tilt_deg}, {"tilt_u_deg", map.tilt_u_deg},
          {"camera", {{"from", static_cast<int>(k.from)}, {"fx", k.fx}, {"fy", k.fy}, {"cx", k.cx}, {"cy", k.cy}, {"k1", k.k1}, {"k2", k.k2}, {"p1", k.p1}, {"p2", k.p2}, {"k3", k.k3}, {"focal_relative_u", k.focal_relative_u}, {"k1_u", k.k1_doubt()}, {"name", k.name}}},
          {"fitted_mm", fitted_mm}};
}

std::optional<scale::PlaneMap> map_from(const json& j) {
  try {
    scale::PlaneMap map;
    const auto kind = j.at("kind").get<std::string>();
    for (const auto k : {scale::Kind::card, scale::Kind::ruler, scale::Kind::disc, scale::Kind::rectangle, scale::Kind::board})
      if (kind == scale::name(k)) map.kind = k;
    Eigen::Matrix3d h;
    for (int i = 0; i < 9; ++i) h(i / 3, i % 3) = j.at("plane_from_ideal").at(static_cast<std::size_t>(i)).get<double>();
    if (!h.allFinite() || std::abs(h.determinant()) < 1e-15) return std::nullopt;
    map.plane_from_ideal = Homography<ImagePoint, PlanePoint>(h);
    if (j.contains("covariance"))
      for (int i = 0; i < 64; ++i) map.covariance(i / 8, i % 8) = j.at("covariance").at(static_cast<std::size_t>(i)).get<double>();
    map.rms_px = j.value("rms_px", 0.0);
    if (j.contains("points")) map.points = whole_number(j["points"], 0, 1 << 20);
    map.scale_relative_u = j.value("scale_relative_u", 0.0);
    for (const auto& p : j.value("reference", json::array())) map.reference.push_back(point_of(p));
    for (const auto& p : j.value("reference_mm", json::array())) map.reference_mm.push_back({p.at(0).get<double>(), p.at(1).get<double>()});
    map.tilt_known = j.value("tilt_known", true);
    map.tilt_deg = j.value("tilt_deg", 0.0);
    map.tilt_u_deg = j.value("tilt_u_deg", 0.0);
    const auto& k = j.at("camera");
    auto& c = map.camera;
    if (k.contains("from")) c.from = static_cast<scale::Camera::From>(whole_number(k.at("from"), 0, 2));
    c.fx = k.at("fx").get<double>();
    c.fy = k.at("fy").get<double>();
    c.cx = k.at("cx").get<double>();
    c.cy = k.at("cy").get<double>();
    c.k1 = k.value("k1", 0.0);
    c.k2 = k.value("k2", 0.0);
    c.p1 = k.value("p1", 0.0);
    c.p2 = k.value("p2", 0.0);
    c.k3 = k.value("k3", 0.0);
    c.focal_relative_u = k.value("focal_relative_u", 0.15);
    c.name = k.value("name", std::string());
    if (k.contains("k1_u")) c.k1_u = k.at("k1_u").get<double>();
    for (const auto& p : j.value("fitted_mm", json::array())) map.fitted_mm.push_back({p.at(0).get<double>(), p.at(1).get<double>()});
    return map;
  } catch (const json::exception&) {
    return std::nullopt;
  }
}

}  // namespace uroko::app
