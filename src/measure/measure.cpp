#include "uroko/measure/measure.h"

#include <algorithm>
#include <cmath>
#include <functional>

#include "surface.h"
#include "uroko/base/text.h"
#include "uroko/measure/budget.h"

namespace uroko::measure {

namespace {

using scale::PlaneMap;

/// The curvature's allowance where no body is given: the flat reading's shortfall lies somewhere between nothing and twice the tangent
/// card's; as it is not corrected, its root mean square counts.
double flat_allowance(const PlaneMap& map, double area_mm2, const MeasureOptions& options, double* radius) {
  *radius = options.skin_radius_mm;
  if (!options.site.empty())
    if (const auto r = scale::skin_radius_mm(options.site)) *radius = std::min(*radius, *r);
  if (!std::isfinite(*radius)) return 0;
  const double across = 2 * std::sqrt(area_mm2 / M_PI), share = scale::flat_under_reading(across, *radius, plane_distance_mm(map));
  return area_mm2 * share * std::sqrt(1 + 1 / 3.0);
}

void geometry_warnings(const PlaneMap& map, const ImageOutline& outline, Measurement& out) {
  const auto has = [&](const char* code) {
    return std::any_of(out.warnings.begin(), out.warnings.end(), [&](const auto& w) { return w.code == code; });
  };
  const auto middle = centroid(outline);
  if (map.pose && !has("tilt")) {
    const double at_wound = incidence_at(map, middle) * 180 / M_PI;
    if (at_wound > 35)
      out.warnings.push_back({"tilt", "the wound is seen at " + fixed_text(at_wound, 0) + " degrees from square; hold the camera square to it"});
  }
  if (map.reference.size() < 4 || map.kind == scale::Kind::ruler) return;
  double low_x = 1e300, high_x = -1e300, low_y = 1e300, high_y = -1e300;
  for (const auto& p : map.reference) {
    low_x = std::min(low_x, p.x), high_x = std::max(high_x, p.x);
    low_y = std::min(low_y, p.y), high_y = std::max(high_y, p.y);
  }
  const double longer = std::max(high_x - low_x, high_y - low_y), shorter = std::min(high_x - low_x, high_y - low_y);
  if (longer < 250 && !has("small-reference"))
    out.warnings.push_back({"small-reference", "the reference is only " + fixed_text(longer, 0) + " px long; come closer or use a larger one"});
  const double dx = std::max({low_x - middle.x, middle.x - high_x, 0.0}), dy = std::max({low_y - middle.y, middle.y - high_y, 0.0});
  const double away = std::hypot(dx, dy);
  if (away > 1.0 * longer || away > 2.5 * shorter)
    out.warnings.push_back({"far-reference", "the wound lies " + fixed_text(away / longer, 1) +
                                                 " lengths of the reference away from it; lay the reference beside the wound"});
}

/// All sources but the margin's.
std::vector<BudgetLine> scale_budget(const PlaneMap& map, const ImageOutline& dense, const MeasureOptions& options, double area_mm2,
                                     double planar_mm2, const BodyEffect& body, Measurement& out) {
  const double share = area_mm2 / planar_mm2;
  std::vector<BudgetLine> budget;
  const double freedom = map.points > 4 ? 2.0 * map.points - 8 : std::numeric_limits<double>::infinity();
  budget.push_back({"scale", share * u_of_scale(map, dense), freedom, false});
  budget.push_back({"print", 2 * area_mm2 * map.scale_relative_u, std::numeric_limits<double>::infinity(), true});
  // Parallel planes cut the cone of sight in similar figures: area x ((d + h) / d)^2 with d square to the planes.
  budget.push_back(
      {"plane offset", 2 * area_mm2 * options.plane_offset_u_mm / plane_distance_mm(map), std::numeric_limits<double>::infinity(), false});
  budget.push_back({"plane tilt", share * u_of_lean(map, dense, options.plane_tilt_u_deg * M_PI / 180), std::numeric_limits<double>::infinity(), false});
  // A k1 that the reference's own points told is as well known as their noise.
  const bool told = map.camera.k1_u && !options.k1_u && map.fitted_mm.size() > 4;
  budget.push_back({"lens", u_of_lens(map, dense, options), told ? freedom - 1 : std::numeric_limits<double>::infinity(), true});
  if (options.body) {
    budget.push_back({"curvature", body.u_mm2, std::numeric_limits<double>::infinity(), true});
    if (!options.body->midline)
      out.warnings.push_back({"body-axis",
                              "the fish's axis is taken along the reference and towards the wound, and the reference to lie on the middle of the flank; "
                              "mark the lateral midline for a narrower interval"});
    const double relative = budget.back().u_mm2 / area_mm2;
    if (relative > 0.05 || std::abs(out.curvature_factor - 1) > 0.15)
      out.warnings.push_back({"curvature", "the flank's curvature changes the area by " + fixed_text(100 * (out.curvature_factor - 1), 0) +
                                               " %; lay the card beside the wound and hold the camera square to it"});
  } else {
    double radius = 0;
    const double u = flat_allowance(map, area_mm2, options, &radius);
    budget.push_back({"curvature", u, std::numeric_limits<double>::infinity(), true});
    if (u > 0.02 * area_mm2)
      out.warnings.push_back({"curvature", "on skin of about " + fixed_text(radius, 0) + " mm radius a flat reading may be " +
                                               fixed_text(100 * u / area_mm2, 0) + " % low; give the body's depth and width"});
  }
  return budget;
}

void finish(Measurement& out, double area_mm2, const EdgeU& edge) {
  sort_budget(out.budget);
  out.area_mm2 = area_estimate(area_mm2, out.budget);
  // A common shift d changes a caliper by 2 d and a round perimeter by 2 pi d; an area error of share 2 s changes every length by s.
  double other = 0;
  for (const auto& line : out.budget)
    if (line.source.rfind("margin", 0) != 0 && line.source != "repeat traces") other += line.u_mm2 * line.u_mm2;
  const double relative = std::sqrt(other) / (2 * area_mm2);
  const auto length = [&](double value, double edge_mm) { return length_estimate(value, std::hypot(value * relative, edge_mm)); };
  const auto caliper = calipers(out.outline_mm);
  out.length_mm = length(caliper.length, 2 * edge.common_mm);
  out.width_mm = length(caliper.width, 2 * edge.common_mm);
  out.perimeter_mm = length(perimeter(out.outline_mm), 2 * M_PI * edge.common_mm);
}

}  // namespace

Result<Measurement> measure(const PlaneMap& map, const margin::Margin& margin, const MeasureOptions& options) {
  if (const auto fault = find_fault(margin.outline))
    return Refusal{"invalid-margin", fault->text, "redraw the margin so that it encloses the wound once"};
  const ImageOutline dense = densified(margin.outline, 2.0);
  const auto plane = plane_surface(map, dense);
  if (!plane) return plane.refusal();
  Measurement out;
  out.warnings = map.warnings;
  out.warnings.insert(out.warnings.end(), margin.warnings.begin(), margin.warnings.end());
  double a = plane->area_mm2;
  out.outline_mm = plane->outline_mm;
  BodyEffect body;
  if (options.body) {
    auto skin = flank_surface(map, dense, setup_of(*options.body, map, dense));
    if (!skin) return skin.refusal();
    body = effect_of_body(map, dense, *options.body, skin->area_mm2);
    const double unbiased = skin->area_mm2 - body.excess_mm2;
    out.curvature_factor = unbiased / a;
    a = unbiased;
    out.outline_mm = std::move(skin.value().outline_mm);
  }
  out.budget = scale_budget(map, dense, options, a, plane->area_mm2, body, out);
  const EdgeU edge = edge_uncertainty(map, margin);
  out.budget.push_back({"margin shift", out.curvature_factor * edge.common_mm2, std::numeric_limits<double>::infinity(), true});
  out.budget.push_back({"margin noise", out.curvature_factor * edge.independent_mm2, std::numeric_limits<double>::infinity(), false});
  geometry_warnings(map, margin.outline, out);
  finish(out, a, edge);
  return out;
}

Result<Measurement> measure_traces(const PlaneMap& map, const std::vector<margin::Margin>& traces, const MeasureOptions& options) {
  if (traces.size() < 2) return Refusal{"one-trace", "repeat traces need at least two", "trace the wound again"};
  std::vector<Measurement> each;
  std::vector<double> areas;
  double mean = 0, common = 0;
  for (const auto& trace : traces) {
    auto one = measure(map, trace, options);
    if (!one) return one.refusal();
    mean += one->area_mm2.value / static_cast<double>(traces.size());
    areas.push_back(one->area_mm2.value);
    each.push_back(std::move(one).value());
  }
  double squares = 0;
  for (const auto& one : each) squares += std::pow(one.area_mm2.value - mean, 2);
  const double n = static_cast<double>(each.size());
  // The trace nearest the mean stands for the others.
  const auto nearest = std::min_element(
      each.begin(), each.end(), [&](const auto& a, const auto& b) { return std::abs(a.area_mm2.value - mean) < std::abs(b.area_mm2.value - mean); });
  Measurement out = *nearest;
  out.trace = static_cast<std::size_t>(nearest - each.begin());
  out.traces_mm2 = std::move(areas);
  for (const auto& line : out.budget)
    if (line.source == "margin shift") common = line.u_mm2;
  std::erase_if(out.budget, [](const auto& line) { return line.source == "margin noise"; });
  out.budget.push_back({"repeat traces", std::sqrt(squares / (n * (n - 1))), n - 1, false});
  EdgeU edge;
  const double around = perimeter(out.outline_mm);
  edge.common_mm = around > 0 ? std::hypot(common, out.budget.back().u_mm2) / around : 0;
  finish(out, mean, edge);
  return out;
}

std::optional<Warning> compare_references(scale::Kind one, const Measurement& a, scale::Kind other, const Measurement& b) {
  const auto own = [](const Measurement& m) {
    double variance = 0;
    for (const auto& line : m.budget)
      if (line.source == "scale" || line.source == "print" || line.source == "plane offset" || line.source == "plane tilt")
        variance += line.u_mm2 * line.u_mm2;
    return variance;
  };
  const double difference = a.area_mm2.value - b.area_mm2.value, u = std::sqrt(own(a) + own(b));
  if (std::abs(difference) <= 2 * u) return std::nullopt;
  return Warning{"references-disagree", std::string("the ") + scale::name(one) + " gives " + fixed_text(a.area_mm2.value, 1) + " mm2, the " +
                                            scale::name(other) + " " + fixed_text(b.area_mm2.value, 1) +
                                            " mm2; check the entered sizes, and that both lie level with the wound"};
}

}  // namespace uroko::measure
