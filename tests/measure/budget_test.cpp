#include "uroko/measure/budget.h"

#include "square_on.h"
#include "uroko/base/random.h"

using namespace uroko;
using namespace uroko::testing;

TEST_CASE("an offset plane of h at distance Z adds 2 h A / Z to the budget") {
  auto options = nothing_allowed();
  options.plane_offset_u_mm = 1.5;
  const auto m = measure::measure(square_on(), disc_margin(100), options);
  REQUIRE(m);
  CHECK(line(*m, "plane offset") == Approx(2 * m->area_mm2.value * 1.5 / 300).epsilon(1e-4));
  CHECK(m->area_mm2.u == Approx(line(*m, "plane offset")).epsilon(1e-3));
}

TEST_CASE("a shift common to the whole edge weighs as perimeter times shift") {
  auto margin = disc_margin(100);
  margin.common_px = 2;
  const auto m = measure::measure(square_on(), margin, nothing_allowed());
  REQUIRE(m);
  CHECK(line(*m, "margin shift") == Approx(m->perimeter_mm.value * 0.2).epsilon(1e-3));
}

TEST_CASE("the budget holds the scatter of traces with independent doubt") {
  Random random(3);
  const auto map = square_on();
  auto margin = disc_margin(100, 1700, 1000, 100);
  margin.doubt_px.assign(100, 1.5);
  margin.correlation_px = distance(margin.outline.parts[0].outer[0], margin.outline.parts[0].outer[1]);
  const auto m = measure::measure(map, margin, nothing_allowed());
  REQUIRE(m);
  double sum = 0, sum2 = 0;
  const int rounds = 3000;
  for (int k = 0; k < rounds; ++k) {
    auto noisy = margin.outline;
    for (auto& p : noisy.parts[0].outer) {
      const double d = random.normal(0, 1.5), a = std::atan2(p.y - 1000, p.x - 1700);
      p.x += d * std::cos(a), p.y += d * std::sin(a);
    }
    const double a = area(map.to_plane(noisy));
    sum += a, sum2 += a * a;
  }
  const double sd = std::sqrt(sum2 / rounds - std::pow(sum / rounds, 2));
  CHECK(line(*m, "margin noise") == Approx(sd).epsilon(0.05));
}

TEST_CASE("the scale's line is what refitting the reference with new noise gives") {
  Random random(5);
  const auto map = square_on(0.4);
  const auto margin = disc_margin(120, 2100, 900);
  const auto m = measure::measure(map, margin, nothing_allowed());
  REQUIRE(m);
  double sum = 0, sum2 = 0;
  const int rounds = 600;
  for (int k = 0; k < rounds; ++k) {
    std::vector<ImagePoint> seen;
    std::vector<PlanePoint> at;
    for (int i = 0; i < 8; ++i)
      for (int j = 0; j < 4; ++j) {
        at.push_back({10.0 * i, 10.0 * j});
        seen.push_back({700 + 100.0 * i + random.normal(0, 0.4), 800 + 100.0 * j + random.normal(0, 0.4)});
      }
    const auto fit = fit_homography(seen, at);
    auto other = map;
    other.plane_from_ideal = fit->to_from;
    const double a = area(other.to_plane(margin.outline));
    sum += a, sum2 += a * a;
  }
  const double sd = std::sqrt(sum2 / rounds - std::pow(sum / rounds, 2));
  CHECK(line(*m, "scale") == Approx(sd).epsilon(0.1));
}

TEST_CASE("a print-size doubt counts twice in the area") {
  auto map = square_on();
  map.scale_relative_u = 0.003;
  const auto m = measure::measure(map, disc_margin(80), nothing_allowed());
  REQUIRE(m);
  CHECK(line(*m, "print") == Approx(0.006 * m->area_mm2.value));
}

TEST_CASE("repeat traces give their own spread with n - 1 degrees of freedom") {
  const std::vector<margin::Margin> traces = {disc_margin(98), disc_margin(100), disc_margin(103)};
  const auto m = measure::measure_traces(square_on(), traces, nothing_allowed());
  REQUIRE(m);
  std::vector<double> areas;
  for (const auto& t : traces) areas.push_back(measure::measure(square_on(), t, nothing_allowed())->area_mm2.value);
  const double mean = (areas[0] + areas[1] + areas[2]) / 3;
  double s2 = 0;
  for (const double a : areas) s2 += std::pow(a - mean, 2) / 2;
  CHECK(m->area_mm2.value == Approx(mean));
  CHECK(m->area_mm2.u == Approx(std::sqrt(s2 / 3)).epsilon(1e-4));
  CHECK(m->area_mm2.dof == Approx(2).epsilon(1e-3));
  // Student's t of 2 degrees of freedom at 97.5 %: 4.303 (any t table).
  CHECK(m->area_mm2.high95 - m->area_mm2.low95 == Approx(2 * 4.303 * m->area_mm2.u).epsilon(1e-3));
  CHECK_FALSE(measure::measure_traces(square_on(), {disc_margin(98)}, nothing_allowed()));
}

TEST_CASE("the interval of a small wound of a doubtful edge is lopsided and never below nothing") {
  auto margin = disc_margin(15);
  margin.common_px = 5;
  const auto m = measure::measure(square_on(), margin, nothing_allowed());
  REQUIRE(m);
  const auto& a = m->area_mm2;
  CHECK(a.high95 - a.value > a.value - a.low95);
  CHECK(a.low95 > 0);
  // The same disc with its radius moved by 1.96 shifts.
  CHECK(a.high95 == Approx(M_PI * std::pow(1.5 + 1.96 * 0.5, 2)).epsilon(0.002));
  CHECK(a.low95 == Approx(M_PI * std::pow(1.5 - 1.96 * 0.5, 2)).epsilon(0.01));
  margin.common_px = 18;
  CHECK(measure::measure(square_on(), margin, nothing_allowed())->area_mm2.low95 == 0);
}

TEST_CASE("photos of one visit combine by what they do not share, and say when they disagree") {
  auto options = nothing_allowed();
  options.plane_offset_u_mm = 1;
  auto map = square_on();
  map.scale_relative_u = 0.002;
  const auto a = *measure::measure(map, disc_margin(100), options), b = *measure::measure(map, disc_margin(100.2), options);
  const auto both = measure::combined({a, b});
  CHECK(both.area_mm2.value > a.area_mm2.value);
  CHECK(both.area_mm2.value < b.area_mm2.value);
  // The plane's offset is each photo's own and shrinks by sqrt 2; the print is shared and does not.
  CHECK(line(both, "plane offset") == Approx(line(a, "plane offset") / std::sqrt(2)).epsilon(0.01));
  CHECK(line(both, "print") == Approx(line(a, "print")).epsilon(0.01));
  CHECK_FALSE(warns(both, "disagreement"));
  const auto odd = measure::combined({a, b, *measure::measure(map, disc_margin(115), options)});
  CHECK(warns(odd, "disagreement"));
  CHECK(line(odd, "disagreement") > line(both, "plane offset"));
  CHECK(measure::combined({a}).area_mm2.value == a.area_mm2.value);
}

TEST_CASE("photos that disagree widen the interval to what their scatter alone says: the standard error of the mean") {
  // Equal doubts: Birge's ratio brings u to s / sqrt(n), the Type A evaluation of the GUM (JCGM 100:2008, 4.2.3), whatever each photo claimed.
  const auto photo_of = [](double area, double u) {
    auto m = *measure::measure(square_on(), disc_margin(100), nothing_allowed());
    m.budget = {{"margin", u, 50, false}};
    m.area_mm2.value = area, m.area_mm2.u = u;
    return m;
  };
  for (const double u : {0.5, 1.0, 2.0}) {
    INFO("u " << u);
    const auto two = measure::combined({photo_of(100, u), photo_of(112, u)});
    CHECK(two.area_mm2.value == Approx(106));
    CHECK(two.area_mm2.u == Approx(6));
    const auto three = measure::combined({photo_of(100, u), photo_of(106, u), photo_of(118, u)});
    CHECK(three.area_mm2.value == Approx(108));
    CHECK(three.area_mm2.u == Approx(std::sqrt((64.0 + 4 + 100) / 2 / 3)));
  }
  // Photos that agree gain by their number alone.
  CHECK(measure::combined({photo_of(106, 2), photo_of(106.5, 2)}).area_mm2.u == Approx(2 / std::sqrt(2)));
}

TEST_CASE("two references that disagree are told, two that agree are not") {
  const auto one = square_on();
  auto other = square_on();
  const auto told = [&] {
    const auto margin = disc_margin(100);
    return measure::compare_references(one.kind, measure::measure(one, margin).value(), other.kind, measure::measure(other, margin).value());
  };
  CHECK_FALSE(told());
  const Eigen::Matrix3d grow = Eigen::Vector3d(1.06, 1.06, 1).asDiagonal();
  other.plane_from_ideal = Homography<ImagePoint, PlanePoint>(grow * other.plane_from_ideal.matrix());
  other.kind = scale::Kind::rectangle;
  const auto warning = told();
  REQUIRE(warning);
  CHECK(warning->code == "references-disagree");
  CHECK(warning->text.find("rectangle") != std::string::npos);
}

TEST_CASE("a wound far from its reference and a crossing margin are told") {
  CHECK(warns(*measure::measure(square_on(), disc_margin(100, 2600, 1000), nothing_allowed()), "far-reference"));
  CHECK_FALSE(warns(*measure::measure(square_on(), disc_margin(100, 1600, 1000), nothing_allowed()), "far-reference"));
  margin::Margin bow;
  bow.outline = {{{{{0, 0}, {10, 10}, {10, 0}, {0, 10}}, {}}}};
  const auto refused = measure::measure(square_on(), bow);
  REQUIRE_FALSE(refused);
  CHECK(refused.refusal().code == "invalid-margin");
}

TEST_CASE("a named back asks for more room for curvature than a flank") {
  auto flank = nothing_allowed(), back = nothing_allowed();
  flank.skin_radius_mm = back.skin_radius_mm = 130;
  flank.site = "left flank";
  back.site = "back, behind the head";
  const auto margin = disc_margin(150);
  const auto on_flank = *measure::measure(square_on(), margin, flank), on_back = *measure::measure(square_on(), margin, back);
  CHECK(line(on_flank, "curvature") < 0.01 * on_flank.area_mm2.value);
  CHECK(line(on_back, "curvature") > 0.05 * on_back.area_mm2.value);
  CHECK(warns(on_back, "curvature"));
  CHECK_FALSE(warns(on_flank, "curvature"));
}
