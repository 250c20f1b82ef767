// The measure against published and derived values.
#include "uroko/measure/measure.h"

#include <geos_c.h>

#include <boost/math/special_functions/bessel.hpp>
#include <boost/math/special_functions/ellint_2.hpp>
#include <catch2/catch.hpp>

#include "uroko/measure/budget.h"
#include "support/chart_photos.h"
#include "uroko/scale/card.h"
#include "uroko/scenes/scene.h"

using namespace uroko;

namespace {

/// So far away and so long a lens that perspective vanishes: 10 px a millimetre.
scenes::Scene from_afar() {
  scenes::Scene scene;
  scene.view.camera = scenes::pinhole(1000, 1000, 1e7);
  scene.view.width_px = scene.view.height_px = 1000;
  scene.view.distance_mm = 1e6;
  scene.view.aim = {0, 0};
  scene.card->centre = {0, 0};
  return scene;
}

/// What a perfect detection of the scene's card gives.
scale::PlaneMap perfect_map(const scenes::Scene& scene) {
  const auto& board = scale::card_layout().board;
  std::vector<ImagePoint> seen;
  std::vector<PlanePoint> at;
  for (int i = 0; i < board.saddle_count(); ++i) {
    at.push_back(board.saddle(i));
    seen.push_back(scenes::pixel_of_card(scene, at.back()));
  }
  scale::PlaneMap map;
  map.camera = scene.view.camera;
  const auto fit = fit_homography(seen, at, 0.01);
  REQUIRE(fit);
  map.plane_from_ideal = fit->to_from;
  map.covariance = fit->covariance;
  map.points = static_cast<int>(at.size());
  const auto& layout = scale::card_layout();
  map.reference_mm = {{0, 0}, {layout.width_mm, 0}, {layout.width_mm, layout.height_mm}, {0, layout.height_mm}};
  for (const auto& p : map.reference_mm) map.reference.push_back(map.to_image(p));
  scale::find_pose(map);
  return map;
}

margin::Margin seen_by(const scenes::Scene& scene, const std::vector<scenes::SkinPoint>& ring) {
  margin::Margin margin;
  margin.outline.parts.push_back({});
  for (const auto& p : ring) {
    const auto pixel = scenes::pixel_of(scene, p);
    REQUIRE(pixel);
    margin.outline.parts[0].outer.push_back(*pixel);
  }
  return margin;
}

std::vector<scenes::SkinPoint> disc(double radius, int n = 720) {
  std::vector<scenes::SkinPoint> ring;
  for (int i = 0; i < n; ++i) ring.push_back({radius * std::cos(2 * M_PI * i / n), radius * std::sin(2 * M_PI * i / n)});
  return ring;
}

/// Along x from -10 to 10 mm, around the body over the arc `width`.
std::vector<scenes::SkinPoint> strip(double width, int n = 200) {
  std::vector<scenes::SkinPoint> ring;
  for (int i = 0; i <= n; ++i) ring.push_back({10, -width / 2 + width * i / n});
  for (int i = n; i >= 0; --i) ring.push_back({-10, -width / 2 + width * i / n});
  return ring;
}

double flat_area(const scale::PlaneMap& map, const margin::Margin& margin) {
  const auto m = measure::measure(map, margin);
  REQUIRE(m);
  return m->area_mm2.value;
}

}  // namespace

TEST_CASE("end-gauge calibration: combined doubt, degrees of freedom and expanded doubt as in JCGM 100:2008, H.1") {
  // Table H.1, nm and degrees of freedom; the coefficients with infinite ones left out as there (no contribution).
  const std::vector<measure::BudgetLine> budget = {{"standard", 25, 18},           {"repeated observations", 5.8, 24},
                                                   {"comparator, random", 3.9, 5}, {"comparator, systematic", 6.7, 8},
                                                   {"expansion", 2.9, 50},         {"temperature", 16.6, 2}};
  CHECK(std::round(measure::combined_u(budget)) == 32);
  const double dof = std::floor(measure::effective_dof(budget));
  CHECK(dof == 16);
  CHECK(t_quantile(0.995, dof) == Approx(2.92).margin(0.005));
  CHECK(std::round(t_quantile(0.995, dof) * 32) == 93);
}

TEST_CASE("a scale taken along the tilt's axis under-reads by the cosine (derived)") {
  for (const auto& [tilt, change] : {std::pair{10.0, -1.52}, {20.0, -6.03}, {30.0, -13.40}}) {
    auto scene = from_afar();
    scene.view.tilt_deg = tilt;
    scale::PlaneMap map;
    map.camera = scene.view.camera;
    Eigen::Matrix3d scale = Eigen::Vector3d(0.1, 0.1, 1).asDiagonal();
    map.plane_from_ideal = Homography<ImagePoint, PlanePoint>(scale);
    map.tilt_known = false;
    const double read = flat_area(map, seen_by(scene, disc(10)));
    CHECK(100 * (read / (M_PI * 100) - 1) == Approx(change).margin(0.02));
    // The card sees the tilt itself.
    CHECK(flat_area(perfect_map(scene), seen_by(scene, disc(10))) == Approx(M_PI * 100).epsilon(1e-4));
  }
}

TEST_CASE("a reference 10 mm nearer or farther than the wound at 300 mm reads 0.93444 or 1.06778 of the area (derived)") {
  for (const auto& [h, factor] : {std::pair{10.0, 0.93444}, {-10.0, 1.06778}}) {
    auto scene = from_afar();
    scene.view.camera = scenes::pinhole(1000, 1000, 2000);
    scene.view.distance_mm = 300;
    scene.card->offset_mm = h;
    const auto margin = seen_by(scene, disc(10));
    // A 720-gon of a disc lacks 1.3e-5 of it.
    CHECK(flat_area(perfect_map(scene), margin) / (M_PI * 100) == Approx(factor).epsilon(5e-5));
  }
}

TEST_CASE("a strip on a cylinder seen square on reads sin p / p, a disc 2 J1(x) / x, the flank's unrolling gives both back (derived)") {
  const double radius = 30;
  auto scene = from_afar();
  scene.flank = scenes::Flank{2 * radius, 2 * radius};
  const auto map = perfect_map(scene);
  measure::MeasureOptions options;
  options.body = measure::Body{};
  options.body->depth_mm = options.body->width_mm = 2 * radius;
  // Known exactly: nothing of the second order to take off.
  options.body->half_axes_relative_u = options.body->midline_u_mm = options.body->contact_u_mm = 0;
  options.body->midline = scenes::truth_of(scene).midline;
  const auto check = [&](const std::vector<scenes::SkinPoint>& ring, double truth, double factor) {
    const auto margin = seen_by(scene, ring);
    CHECK(flat_area(map, margin) / truth == Approx(factor).margin(2e-4));
    const auto m = measure::measure(map, margin, options);
    REQUIRE(m);
    CHECK(m->area_mm2.value == Approx(truth).epsilon(5e-4));
    CHECK(m->curvature_factor == Approx(1 / factor).epsilon(1e-3));
  };
  check(strip(2 * radius * 0.5), 20 * 2 * radius * 0.5, 0.95885);
  check(strip(2 * radius * 1.0), 20 * 2 * radius * 1.0, 0.84147);
  // J1 by Boost.Math beside the tabled value.
  CHECK(2 * boost::math::cyl_bessel_j(1, 0.5) / 0.5 == Approx(0.96907).margin(5e-6));
  check(disc(radius * 0.5), M_PI * radius * radius * 0.25, 0.96907);
  check(disc(radius * 1.0), M_PI * radius * radius, 0.88010);
}

TEST_CASE("perimeter of an ellipse is the elliptic integral's, area and perimeter of any outline are GEOS's") {
  auto scene = from_afar();
  const auto map = perfect_map(scene);
  auto ring = disc(1);
  for (auto& p : ring) p = {21 * p.x, 14 * p.s};
  const auto m = measure::measure(map, seen_by(scene, ring));
  REQUIRE(m);
  // Boost.Math ellint_2: 4 a E(e).
  CHECK(m->perimeter_mm.value == Approx(4 * 21 * boost::math::ellint_2(std::sqrt(1 - 14.0 * 14 / (21 * 21)))).epsilon(5e-5));
  CHECK(m->length_mm.value == Approx(42).epsilon(1e-4));
  CHECK(m->width_mm.value == Approx(28).epsilon(1e-4));
  // Length x width over-reads an ellipse by 4 / pi - 1 = 27.324 % (derived; 42 x 28 mm: 1176 against 923.6 mm2).
  CHECK(m->length_mm.value * m->width_mm.value / m->area_mm2.value - 1 == Approx(0.27324).margin(2e-4));

  const auto rough = scenes::irregular_ulcer({0, 0}, 13, 0.14, 77);
  const auto irregular = measure::measure(map, seen_by(scene, scenes::margin(rough)));
  REQUIRE(irregular);
  GEOSContextHandle_t geos = GEOS_init_r();
  GEOSWKTReader* reader = GEOSWKTReader_create_r(geos);
  GEOSGeometry* polygon = GEOSWKTReader_read_r(geos, reader, to_wkt(irregular->outline_mm, 9).c_str());
  REQUIRE(polygon);
  double area = 0, length = 0;
  GEOSArea_r(geos, polygon, &area);
  GEOSLength_r(geos, polygon, &length);
  CHECK(irregular->area_mm2.value == Approx(area).epsilon(1e-9));
  CHECK(irregular->perimeter_mm.value == Approx(length).epsilon(1e-9));
  CHECK(area == Approx(scenes::area_mm2(rough)).epsilon(1e-3));
  GEOSGeom_destroy_r(geos, polygon);
  GEOSWKTReader_destroy_r(geos, reader);
  GEOS_finish_r(geos);
}

TEST_CASE("colour charts on real photos: the interval holds the maker's area") {
  // shared/data/aruco_colorchecker/SOURCE.md: 6921.5 mm2 or 59276 mm2; the chart lies 3 mm above the frame that gives the scale.
  const auto charts = uroko::testing::chart_photos();
  if (charts.empty()) {
    WARN("skipped: shared/data/aruco_colorchecker is not there");
    return;
  }
  measure::MeasureOptions options;
  options.plane_offset_u_mm = 3;
  options.skin_radius_mm = std::numeric_limits<double>::infinity();
  int held = 0;
  for (const auto& chart : charts) {
    margin::Margin margin;
    margin.outline = chart.outline;
    margin.common_px = 1;
    const auto m = measure::measure(chart.map, margin, options);
    REQUIRE(m);
    const auto& a = m->area_mm2;
    INFO(chart.file.filename().string() << ": " << a.value << " mm2 (" << a.low95 << " to " << a.high95 << "), the maker says " << chart.area_mm2);
    CHECK(a.low95 <= chart.area_mm2);
    CHECK(a.high95 >= chart.area_mm2);
    CHECK(a.u < 0.05 * a.value);
    held += a.low95 <= chart.area_mm2 && chart.area_mm2 <= a.high95;
  }
  CHECK(held == static_cast<int>(charts.size()));
}
