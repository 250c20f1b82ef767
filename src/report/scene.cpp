#include "uroko/report/scene.h"

#include <algorithm>
#include <cmath>

namespace uroko::report {
namespace {

// Where the line through the origin's offset `c` along the unit normal (nx, ny) is inside the polygon (even-odd).
void clip_line(const std::vector<Point>& polygon, double nx, double ny, double c, std::vector<std::pair<Point, Point>>& out) {
  std::vector<double> along;  // positions along the direction (-ny, nx)
  for (std::size_t i = 0; i < polygon.size(); ++i) {
    const Point &a = polygon[i], &b = polygon[(i + 1) % polygon.size()];
    const double da = nx * a.x + ny * a.y - c, db = nx * b.x + ny * b.y - c;
    if ((da < 0) == (db < 0)) continue;
    const double t = da / (da - db);
    along.push_back(-ny * (a.x + t * (b.x - a.x)) + nx * (a.y + t * (b.y - a.y)));
  }
  std::sort(along.begin(), along.end());
  for (std::size_t i = 0; i + 1 < along.size(); i += 2)
    out.push_back({{nx * c - ny * along[i], ny * c + nx * along[i]}, {nx * c - ny * along[i + 1], ny * c + nx * along[i + 1]}});
}

void clip_family(const std::vector<Point>& polygon, double nx, double ny, double spacing, std::vector<std::pair<Point, Point>>& out) {
  double low = INFINITY, high = -INFINITY;
  for (const auto& p : polygon) {
    low = std::min(low, nx * p.x + ny * p.y);
    high = std::max(high, nx * p.x + ny * p.y);
  }
  // Phase fixed to the drawing's origin, so that neighbouring fills continue each other.
  for (double k = std::ceil(low / spacing); k * spacing < high; ++k) clip_line(polygon, nx, ny, k * spacing, out);
}

}  // namespace

HatchStrokes hatch_strokes(const Fill& fill, double spacing) {
  HatchStrokes out;
  if (fill.points.size() < 3 || !(spacing > 0)) return out;
  const double h = std::sqrt(0.5);
  if (fill.hatch == Hatch::diagonal || fill.hatch == Hatch::cross) clip_family(fill.points, h, h, spacing, out.strokes);
  if (fill.hatch == Hatch::cross) clip_family(fill.points, h, -h, spacing, out.strokes);
  if (fill.hatch == Hatch::dots) {
    std::vector<std::pair<Point, Point>> rows;
    clip_family(fill.points, 0, 1, spacing * 0.75, rows);
    for (const auto& [a, b] : rows) {
      const auto row = static_cast<long>(std::lround(a.y / (spacing * 0.75)));
      const double shift = row % 2 ? spacing / 2 : 0, low = std::min(a.x, b.x), high = std::max(a.x, b.x);
      for (double k = std::ceil((low - shift) / spacing); k * spacing + shift < high; ++k) out.dots.push_back({k * spacing + shift, a.y});
    }
  }
  return out;
}

void place(Scene& scene, const Scene& part, Point at, double scale) {
  for (Tag tag : part.tags) {
    tag.first += scene.items.size();
    tag.end += scene.items.size();
    scene.tags.push_back(std::move(tag));
  }
  const auto move = [&](Point& p) { p = {at.x + p.x * scale, at.y + p.y * scale}; };
  for (Item item : part.items) {
    if (auto* line = std::get_if<PolyLine>(&item)) {
      for (auto& p : line->points) move(p);
      line->width *= scale;
    } else if (auto* fill = std::get_if<Fill>(&item)) {
      for (auto& p : fill->points) move(p);
    } else if (auto* disc = std::get_if<Disc>(&item)) {
      move(disc->at);
      disc->radius *= scale;
      disc->edge_width *= scale;
    } else if (auto* label = std::get_if<Label>(&item)) {
      move(label->at);
      label->size *= scale;
    } else if (auto* picture = std::get_if<Picture>(&item)) {
      move(picture->at);
      picture->w *= scale;
      picture->h *= scale;
    }
    scene.items.push_back(std::move(item));
  }
}

const Palette& palette(Theme theme) {
  using namespace okabe_ito;
  static const Palette light{{246, 244, 239}, {32, 36, 43}, {104, 106, 110}, {215, 211, 202}, blue, {44, 132, 184}, vermilion, bluish_green};
  static const Palette dark{{27, 30, 36}, {232, 230, 224}, {154, 157, 163}, {58, 62, 70}, sky_blue, {120, 196, 240}, {240, 128, 60}, {60, 190, 150}};
  return theme == Theme::dark ? dark : light;
}

}  // namespace uroko::report
