// The margins of a wound's visits in one frame.
#include "report/visit_margins.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "report/true_scale.h"
#include "uroko/base/error.h"
#include "uroko/casebook/measured.h"
#include "uroko/geometry/polygon.h"
#include "uroko/measure/skin_match.h"
#include "uroko/report/from_book.h"

namespace uroko::report {
namespace {

// How far the fish's midline is turned from the plane's x axis; nothing where it was not marked.
std::optional<double> midline_turn(const casebook::MeasureRow& row) {
  try {
    const auto body = casebook::options_of(row).body;
    if (!body || !body->midline) return std::nullopt;
    const auto map = casebook::plane_map_of(row);
    const auto a = map.to_plane(body->midline->first), b = map.to_plane(body->midline->second);
    return std::atan2(b.y - a.y, b.x - a.x);
  } catch (const Error&) { return std::nullopt; }
}

PlaneOutline turned(const PlaneOutline& outline, double angle) {
  const auto c = centroid(outline);
  const double cs = std::cos(angle), sn = std::sin(angle);
  return mapped<PlanePoint, PlanePoint>(outline, [=](const PlanePoint& p) { return PlanePoint{cs * (p.x - c.x) - sn * (p.y - c.y), sn * (p.x - c.x) + cs * (p.y - c.y)}; });
}

// The share that two margins about the origin have in common.
double in_common(const PlaneOutline& a, const PlaneOutline& b) {
  try {
    return area(intersection(a, b)) / std::max(area(a), area(b));
  } catch (const std::exception&) { return 0; }
}

// Only where every margin's photo has a midline. Its two ends may have been picked either way round: of the two turns the one that covers the
// margin before better is taken.
void level(std::vector<SheetMargin>& margins, const std::vector<std::optional<double>>& turns) {
  for (std::size_t i = 0; i < margins.size(); ++i) {
    auto& outline = margins[i].outline_mm;
    outline = turned(outline, -*turns[i]);
    if (i == 0) continue;
    if (auto other = turned(outline, std::numbers::pi); in_common(other, margins[i - 1].outline_mm) > in_common(outline, margins[i - 1].outline_mm) + 0.02)
      outline = std::move(other);
  }
}

// Those that are drawn, laid over each other by the skin. False when it told of none.
bool lay_by_skin(SheetData& data, const std::vector<VisitMargin>& margins, const std::optional<double>& level_turn) {
  const auto picks = drawn_margins(margins.size());
  std::vector<measure::SkinPhoto> photos;
  for (const auto i : picks) {
    auto map = casebook::plane_map_if_any(margins[i].measure);
    const auto outline = margin_px(margins[i].measure);
    photos.push_back({margins[i].photo, map && outline ? std::make_shared<const scale::PlaneMap>(std::move(*map)) : nullptr, outline.value_or(ImageOutline{})});
  }
  const auto aligned = measure::align_visits(measure::read_skins(photos));
  if (std::count_if(aligned.begin(), aligned.end(), [](const auto& a) { return a.to_first.has_value(); }) < 2) return false;
  std::optional<PlanePoint> origin, before;
  for (std::size_t k = 0; k < picks.size(); ++k) {
    if (!aligned[k].to_first) continue;
    auto& margin = data.margins[picks[k]];
    auto outline = (*aligned[k].to_first)(margins[picks[k]].outline_mm);
    if (!origin) origin = centroid(outline);
    // About the first one's middle, turned as that one lies level.
    outline = shifted(outline, -origin->x, -origin->y);
    if (level_turn) outline = measure::SkinMotion{-*level_turn, {}}(outline);
    margin.outline_mm = std::move(outline);
    margin.by_skin = true;
  }
  // The others stand where the one before them does.
  before = PlanePoint{};
  for (const auto i : picks) {
    auto& margin = data.margins[i];
    const auto c = centroid(margin.outline_mm);
    if (margin.by_skin)
      before = c;
    else
      margin.outline_mm = shifted(margin.outline_mm, before->x - c.x, before->y - c.y);
  }
  return true;
}

}  // namespace

double px_per_mm(const casebook::MeasureRow& m, const ImageOutline& outline) {
  const double px2 = area(outline);
  return m.area_mm2 > 0 && px2 > 0 ? std::sqrt(px2 / m.area_mm2) : 0;
}

std::optional<ImageOutline> margin_px(const casebook::MeasureRow& m) {
  try {
    auto outline = outline_from_wkt<ImagePoint>(m.margin_wkt);
    if (outline.empty() || find_fault(outline)) return std::nullopt;
    return outline;
  } catch (const std::invalid_argument&) { return std::nullopt; }
}

std::optional<PlaneOutline> margin_mm(const casebook::MeasureRow& m) {
  const auto outline = margin_px(m);
  if (!outline) return std::nullopt;
  PlaneOutline plane;
  if (const auto map = casebook::plane_map_if_any(m)) {
    plane = map->to_plane(*outline);
  } else {
    const double s = px_per_mm(m, *outline);
    if (s <= 0) return std::nullopt;
    plane = mapped<ImagePoint, PlanePoint>(*outline, [&](const ImagePoint& p) { return PlanePoint{p.x / s, p.y / s}; });
  }
  // The reported area holds the curvature too: drawn as large as it is reported.
  const double drawn = area(plane);
  if (!(drawn > 0) || !(m.area_mm2 > 0)) return std::nullopt;
  const double k = std::sqrt(m.area_mm2 / drawn);
  const auto c = centroid(plane);
  return mapped<PlanePoint, PlanePoint>(plane, [&](const PlanePoint& p) { return PlanePoint{c.x + k * (p.x - c.x), c.y + k * (p.y - c.y)}; });
}

void place_margins(SheetData& data, const std::vector<VisitMargin>& margins, bool by_skin) {
  std::vector<std::optional<double>> turns;
  for (const auto& m : margins) {
    data.margins.push_back({m.date, m.outline_mm, m.measure.area_mm2});
    turns.push_back(midline_turn(m.measure));
  }
  data.margins_level = !turns.empty() && std::all_of(turns.begin(), turns.end(), [](const auto& turn) { return turn.has_value(); });
  if (data.margins_level) level(data.margins, turns);
  for (auto& m : data.margins) {
    const auto c = centroid(m.outline_mm);
    m.outline_mm = shifted(m.outline_mm, -c.x, -c.y);
  }
  if (by_skin) lay_by_skin(data, margins, data.margins_level ? turns.front() : std::nullopt);
}

}  // namespace uroko::report
