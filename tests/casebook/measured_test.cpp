// A measurement as the book keeps it and the way back: what it takes to measure that margin again.
#include "uroko/casebook/measured.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "measure/square_on.h"
#include "uroko/base/error.h"
#include "uroko/geometry/polygon.h"

using namespace uroko;
using namespace uroko::casebook;

namespace {

struct Measured {
  scale::PlaneMap map = testing::square_on(0.1);
  margin::Margin margin = testing::disc_margin(150);
  measure::MeasureOptions options;
  measure::Measurement measurement;

  Measured() {
    map.camera.k1 = -0.05, map.camera.k1_u = 0.004, map.camera.name = "lens \"A\"";
    map.fitted_mm = {{0, 0}, {70, 30}};
    map.scale_relative_u = 0.001;
    map.warnings = {{"map", "of the map"}};
    margin.warnings = {{"margin", "of the margin"}};
    options.plane_offset_u_mm = 0.5;
    options.body = measure::Body{160, 110, std::pair{ImagePoint{100, 900}, ImagePoint{2900, 900}}};
    measurement = measure::measure(map, margin, options).value();
  }
  MeasureRow row(const bed::Bed* bed = nullptr) const { return to_row(7, map, margin, measurement, bed, options); }
};

std::string refusal(const MeasureRow& row) {
  try {
    plane_map_of(row);
  } catch (const Error& e) {
    return e.code();
  }
  return "";
}

}  // namespace

TEST_CASE("a measure that was kept can be measured again: the same map, options, area and interval") {
  const Measured m;
  const auto row = m.row();
  CHECK(row.photo == 7);
  CHECK(row.area_mm2 == m.measurement.area_mm2.value);
  const auto map = plane_map_of(row);
  for (const ImagePoint p : {ImagePoint{700, 800}, {1700, 1000}, {2900, 1900}}) {
    CHECK(map.to_plane(p).x == Approx(m.map.to_plane(p).x).margin(1e-9));
    CHECK(map.to_plane(p).y == Approx(m.map.to_plane(p).y).margin(1e-9));
  }
  CHECK(map.covariance.isApprox(m.map.covariance));
  CHECK(map.camera.name == "lens \"A\"");
  CHECK(map.camera.from == scale::Camera::From::profile);
  CHECK(map.camera.k1_doubt() == 0.004);
  CHECK(map.fitted_mm.size() == 2);
  CHECK(map.tilt_deg == m.map.tilt_deg);
  REQUIRE(map.pose);
  const auto options = options_of(row);
  CHECK(options.plane_offset_u_mm == 0.5);
  REQUIRE((options.body && options.body->midline));
  CHECK(options.body->width_mm == 110);
  CHECK(options.body->midline->second == ImagePoint{2900, 900});
  margin::Margin margin = m.margin;
  margin.outline = outline_from_wkt<ImagePoint>(row.margin_wkt);
  const auto again = measure::measure(map, margin, options);
  REQUIRE(again);
  CHECK(again->area_mm2.value == Approx(row.area_mm2).epsilon(1e-6));  // the outline is kept to 0.0001 px
  CHECK(again->area_mm2.u == Approx(row.u_mm2).epsilon(1e-4));
}

TEST_CASE("the tissues and every warning of a measure are kept with it, each once") {
  const Measured m;
  bed::Bed bed;
  bed.tissue[static_cast<std::size_t>(bed::Tissue::granulation)] = {0.75, 0.05, 52, 4};
  bed.options = "{}";
  bed.warnings = {{"bed", "of the bed"}};
  const auto row = m.row(&bed);
  const auto shares = nlohmann::json::parse(row.bed_json);
  CHECK(shares.size() == bed::kTissues);
  CHECK(shares.at(bed::name(bed::Tissue::granulation)).at("share") == 0.75);
  CHECK(shares.at(bed::name(bed::Tissue::granulation)).at("mm2_u") == 4);
  std::vector<std::string> codes;
  for (const auto& warning : nlohmann::json::parse(row.warnings_json)) codes.push_back(warning.at("code"));
  for (const auto* code : {"map", "margin", "bed"}) CHECK(std::count(codes.begin(), codes.end(), code) == 1);
  double squares = 0;
  for (const auto& line : nlohmann::json::parse(row.budget_json)) squares += std::pow(line.at("u_mm2").get<double>(), 2);
  CHECK(std::sqrt(squares) == Approx(row.u_mm2));
}

TEST_CASE("a measure whose tilt is not known has no pose when it comes back") {
  Measured m;
  m.map.kind = scale::Kind::ruler, m.map.tilt_known = false, m.map.pose.reset();
  const auto map = plane_map_of(m.row());
  CHECK(map.kind == scale::Kind::ruler);
  CHECK_FALSE(map.tilt_known);
  CHECK_FALSE(map.pose);
}

TEST_CASE("a measure without its details, as a table brings them, says so and is no crash") {
  const Measured m;
  auto row = m.row();
  auto scale = nlohmann::json::parse(row.scale_json);
  row.scale_json = row.options_json = "";
  CHECK(refusal(row) == "no-details");
  CHECK_FALSE(plane_map_if_any(row));
  CHECK_THROWS_AS(options_of(row), Error);
  auto broken = scale;
  broken["kind"] = "a hand's width";
  row.scale_json = broken.dump();
  CHECK(refusal(row) == "no-details");
  broken = scale;
  broken["plane_from_ideal"].erase(0);
  row.scale_json = broken.dump();
  CHECK(refusal(row) == "no-details");
  row.scale_json = scale.dump();
  CHECK(plane_map_if_any(row));
}
