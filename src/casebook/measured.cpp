#include "uroko/casebook/measured.h"

#include <Eigen/LU>
#include <cmath>
#include <nlohmann/json.hpp>

#include "uroko/base/error.h"
#include "uroko/base/json.h"

namespace uroko::casebook {

using nlohmann::json;

namespace {

template <class P> json points(const std::vector<P>& from) {
  json out = json::array();
  for (const auto& p : from) out.push_back({p.x, p.y});
  return out;
}
template <class P> std::vector<P> points(const json& from) {
  std::vector<P> out;
  for (const auto& p : from) out.push_back({p.at(0).get<double>(), p.at(1).get<double>()});
  return out;
}

}  // namespace

json to_json(const scale::PlaneMap& map) {
  const auto& c = map.camera;
  json h = json::array(), covariance = json::array();
  for (int r = 0; r < 3; ++r)
    for (int k = 0; k < 3; ++k) h.push_back(map.plane_from_ideal.matrix()(r, k));
  for (int r = 0; r < 8; ++r)
    for (int k = 0; k < 8; ++k) covariance.push_back(map.covariance(r, k));
  return {{"kind", scale::name(map.kind)},
          {"tilt_deg", map.tilt_known ? json(map.tilt_deg) : json(nullptr)},
          {"tilt_u_deg", map.tilt_u_deg},
          {"rms_px", map.rms_px},
          {"points", map.points},
          {"scale_relative_u", map.scale_relative_u},
          {"plane_from_ideal", h},
          {"covariance", covariance},
          {"camera", {{"from", static_cast<int>(c.from)}, {"name", c.name}, {"fx", c.fx}, {"fy", c.fy}, {"cx", c.cx}, {"cy", c.cy}, {"k1", c.k1}, {"k2", c.k2},
                      {"p1", c.p1}, {"p2", c.p2}, {"k3", c.k3}, {"focal_relative_u", c.focal_relative_u}, {"k1_u", c.k1_doubt()}}},
          {"reference", points(map.reference)},
          {"reference_mm", points(map.reference_mm)},
          {"fitted_mm", points(map.fitted_mm)}};
}

MeasureRow to_row(Id photo, const scale::PlaneMap& map, const margin::Margin& margin, const measure::Measurement& measurement, const bed::Bed* bed,
                  const measure::MeasureOptions& options) {
  MeasureRow row;
  row.photo = photo;
  row.made = DateTime::now();
  const auto& area = measurement.area_mm2;
  row.area_mm2 = area.value, row.u_mm2 = area.u, row.low95 = area.low95, row.high95 = area.high95;
  row.perimeter_mm = measurement.perimeter_mm.value, row.length_mm = measurement.length_mm.value, row.width_mm = measurement.width_mm.value;
  row.margin_wkt = to_wkt(margin.outline, 4);
  row.margin_from = margin::name(margin.from);

  auto scale = to_json(map);
  scale["mm_per_px"] = margin.outline.empty() ? json(nullptr) : json(map.mm_per_px(centroid(margin.outline)));
  row.scale_json = scale.dump(-1, ' ', false, json::error_handler_t::replace);
  json budget = json::array();
  for (const auto& line : measurement.budget) budget.push_back({{"source", line.source}, {"u_mm2", line.u_mm2}});
  row.budget_json = budget.dump();
  if (bed) {
    json shares = json::object();
    for (int t = 0; t < bed::kTissues; ++t) {
      const auto& share = bed->tissue[static_cast<std::size_t>(t)];
      shares[bed::name(static_cast<bed::Tissue>(t))] = {{"share", share.share}, {"share_u", share.share_u}, {"mm2", share.mm2}, {"mm2_u", share.mm2_u}};
    }
    row.bed_json = shares.dump();
  }
  std::vector<Warning> warnings = measurement.warnings;  // the map's and the margin's are among them
  if (bed) warnings.insert(warnings.end(), bed->warnings.begin(), bed->warnings.end());
  row.warnings_json = warnings_json(warnings).dump(-1, ' ', false, json::error_handler_t::replace);
  json settings = {{"plane_offset_u_mm", options.plane_offset_u_mm}, {"curvature_factor", measurement.curvature_factor}, {"proposal", margin.proposal},
                   {"doubt_px", margin.doubt_px}, {"correlation_px", margin.correlation_px}, {"common_px", margin.common_px}};
  if (options.body) {
    settings["body"] = {{"depth_mm", options.body->depth_mm}, {"width_mm", options.body->width_mm}};
    if (options.body->midline) settings["body"]["midline"] = points(std::vector<ImagePoint>{options.body->midline->first, options.body->midline->second});
  }
  if (bed) settings["bed_options"] = bed->options;
  row.options_json = settings.dump(-1, ' ', false, json::error_handler_t::replace);
  row.program = "uroko " UROKO_VERSION;
  return row;
}

namespace {
[[noreturn]] void not_there(const char* what) {
  throw Error(Fault::book, "no-details", {}, std::string("this measure does not hold its ") + what, "measure the photo again");
}
}  // namespace

scale::PlaneMap plane_map_from(const json& j) {
  scale::PlaneMap map;
  try {
    const auto kind = j.at("kind").get<std::string>();
    bool known = false;
    for (const auto k : {scale::Kind::card, scale::Kind::ruler, scale::Kind::disc, scale::Kind::rectangle, scale::Kind::board})
      if (kind == scale::name(k)) map.kind = k, known = true;
    if (!known) not_there("scale");
    Eigen::Matrix3d h;
    for (int k = 0; k < 9; ++k) h(k / 3, k % 3) = j.at("plane_from_ideal").at(static_cast<std::size_t>(k)).get<double>();
    if (!h.allFinite() || std::abs(h.determinant()) < 1e-15) not_there("scale");
    map.plane_from_ideal = Homography<ImagePoint, PlanePoint>(h);
    for (int k = 0; k < 64; ++k) map.covariance(k / 8, k % 8) = j.at("covariance").at(static_cast<std::size_t>(k)).get<double>();
    const auto& c = j.at("camera");
    auto& camera = map.camera;
    camera.from = static_cast<scale::Camera::From>(whole_number(c.at("from"), 0, 2));
    camera.name = c.at("name").get<std::string>();
    for (auto [name, field] : {std::pair{"fx", &camera.fx}, {"fy", &camera.fy}, {"cx", &camera.cx}, {"cy", &camera.cy}, {"k1", &camera.k1}, {"k2", &camera.k2}, {"p1", &camera.p1},
                               {"p2", &camera.p2}, {"k3", &camera.k3}, {"focal_relative_u", &camera.focal_relative_u}})
      *field = c.at(name).get<double>();
    if (c.contains("k1_u")) camera.k1_u = c.at("k1_u").get<double>();
    if (j.contains("fitted_mm")) map.fitted_mm = points<PlanePoint>(j.at("fitted_mm"));
    map.rms_px = j.at("rms_px").get<double>();
    map.points = whole_number(j.at("points"), 0, 1 << 20);
    map.scale_relative_u = j.at("scale_relative_u").get<double>();
    map.reference = points<ImagePoint>(j.at("reference"));
    map.reference_mm = points<PlanePoint>(j.at("reference_mm"));
    map.tilt_known = !j.at("tilt_deg").is_null();
    const double tilt = map.tilt_known ? j.at("tilt_deg").get<double>() : 0, tilt_u = j.at("tilt_u_deg").get<double>();
    if (map.tilt_known) scale::find_pose(map);
    map.tilt_deg = tilt, map.tilt_u_deg = tilt_u;
  } catch (const json::exception&) {
    not_there("scale");
  }
  return map;
}

scale::PlaneMap plane_map_of(const MeasureRow& row) { return plane_map_from(json::parse(row.scale_json, nullptr, false)); }

std::optional<scale::PlaneMap> plane_map_if_any(const MeasureRow& row) {
  try {
    return plane_map_of(row);
  } catch (const Error&) {
    return std::nullopt;
  }
}

// Not parsed: it is asked of every photo that is read, and the text holds a number for every vertex.
bool is_proposal(const MeasureRow& row) { return row.options_json.find("\"proposal\":true") != std::string::npos; }

measure::MeasureOptions options_of(const MeasureRow& row) {
  measure::MeasureOptions out;
  try {
    const auto j = json::parse(row.options_json);
    out.plane_offset_u_mm = j.at("plane_offset_u_mm").get<double>();
    if (const auto body = j.find("body"); body != j.end()) {
      out.body = measure::Body{body->at("depth_mm").get<double>(), body->at("width_mm").get<double>(), std::nullopt};
      if (body->contains("midline")) {
        const auto ends = points<ImagePoint>(body->at("midline"));
        if (ends.size() == 2) out.body->midline = {ends[0], ends[1]};
      }
    }
  } catch (const json::exception&) {
    not_there("options");
  }
  return out;
}

}  // namespace uroko::casebook
