#include "report/true_scale.h"

#include <algorithm>
#include <cmath>

#include "uroko/base/text.h"
#include "uroko/geometry/polygon.h"
#include "uroko/report/words.h"

namespace uroko::report {
namespace {

// Not colour alone: the newest is a full heavy line, the oldest dashed, those between dotted or thin.
PolyLine style(std::size_t i, std::size_t n) {
  PolyLine line;
  line.closed = true;
  const Palette& inks = palette(Theme::light);
  if (i + 1 == n) {
    line.colour = inks.ink;
    line.width = 1.6;
  } else if (i == 0) {
    line.colour = okabe_ito::blue;
    line.width = 1.1;
    line.dash = Dash::dashed;
  } else {
    const Colour between[] = {okabe_ito::vermilion, okabe_ito::bluish_green, okabe_ito::reddish_purple, okabe_ito::orange, okabe_ito::sky_blue};
    line.colour = between[(i - 1) % 5];
    line.width = 0.8;
    line.dash = (i / 5) % 2 ? Dash::solid : Dash::dotted;
  }
  return line;
}

// At most `most` of them, first and last always, the rest spread evenly.
std::vector<std::size_t> chosen(std::size_t n, std::size_t most) {
  std::vector<std::size_t> out;
  for (std::size_t k = 0; k < std::min(n, most); ++k)
    out.push_back(
        n <= most ? k : static_cast<std::size_t>(std::lround(static_cast<double>(k) * static_cast<double>(n - 1) / static_cast<double>(most - 1))));
  return out;
}

}  // namespace

void true_scale_margins(Flow& flow, const SheetData& data) {
  const Palette& inks = palette(Theme::light);
  std::vector<const SheetMargin*> all;
  for (const auto& m : data.margins)
    if (!m.outline_mm.empty()) all.push_back(&m);
  if (all.empty()) return;
  const auto picks = chosen(all.size(), 8);
  std::vector<PlaneOutline> outlines;
  double x0 = INFINITY, y0 = INFINITY, x1 = -INFINITY, y1 = -INFINITY;
  for (std::size_t i : picks) {
    PlaneOutline o = all[i]->outline_mm;
    const PlanePoint c = data.margins_registered ? PlanePoint{} : centroid(o);
    o = mapped<PlanePoint, PlanePoint>(o, [&](const PlanePoint& p) { return PlanePoint{p.x - c.x, p.y - c.y}; });
    for (const auto& part : o.parts)
      for (const auto& p : part.outer) {
        x0 = std::min(x0, p.x), x1 = std::max(x1, p.x);
        y0 = std::min(y0, p.y), y1 = std::max(y1, p.y);
      }
    outlines.push_back(std::move(o));
  }
  const double legend = 118, w_mm = x1 - x0, h_mm = y1 - y0;
  const double free_w = flow.inner() - legend - 20;
  // A wound wider than the paper is drawn at a half, a quarter ... and says so.
  double scale = 1;
  while (w_mm * scale * kPointsPerMm > free_w || h_mm * scale * kPointsPerMm > 430) scale /= 2;
  const double per_mm = scale * kPointsPerMm, list = 13 + 11.0 * static_cast<double>(picks.size()) + 30;
  const double body = std::max(h_mm * per_mm + 16, list), height = body + 34;
  flow.heading(scale == 1 ? "Margins at true size (1 mm is 1 mm)" : "Margins at 1:" + number_text(1 / scale), height);
  Scene box{flow.inner(), height, {}};
  const Point centre{8 + std::max(w_mm * per_mm, 120.0) / 2, body / 2};
  const auto to = [&](const PlanePoint& p) { return Point{centre.x + (p.x - (x0 + x1) / 2) * per_mm, centre.y + (p.y - (y0 + y1) / 2) * per_mm}; };
  for (std::size_t k = 0; k < picks.size(); ++k)
    for (const auto& part : outlines[k].parts) {
      const auto ring = [&](const Ring<PlanePoint>& r) {
        PolyLine line = style(k, picks.size());
        for (const auto& p : r) line.points.push_back(to(p));
        box.items.push_back(std::move(line));
      };
      ring(part.outer);
      for (const auto& hole : part.holes) ring(hole);
    }
  const double lx = std::max(flow.inner() - legend, centre.x + w_mm * per_mm / 2 + 16);
  double y = 14;
  for (std::size_t k = 0; k < picks.size(); ++k) {
    PolyLine line = style(k, picks.size());
    line.closed = false;
    line.points = {{lx, y - 3}, {lx + 20, y - 3}};
    box.items.push_back(line);
    box.items.push_back(Label{{lx + 25, y},
                              all[picks[k]]->date.iso_date() + "  " +
                                  mm2_text(all[picks[k]]->area_mm2 > 0 ? all[picks[k]]->area_mm2 : area(all[picks[k]]->outline_mm)) + " mm²",
                              7.5,
                              inks.ink,
                              Anchor::left,
                              false,
                              0});
    y += 11;
  }
  if (all.size() > picks.size())
    box.items.push_back(
        Label{{lx, y}, std::to_string(picks.size()) + " of " + std::to_string(all.size()) + " visits", 7, inks.quiet, Anchor::left, false, 0});
  const double by = height - 14, length = kCheckMm * kPointsPerMm;
  box.items.push_back(PolyLine{{{0, by}, {length, by}}, inks.ink, 0.9, Dash::solid, false});
  for (int mm = 0; mm <= static_cast<int>(kCheckMm); mm += 10) {
    const double x = mm * kPointsPerMm, tall = mm % 50 ? 3 : 5;
    box.items.push_back(PolyLine{{{x, by - tall}, {x, by + tall}}, inks.ink, 0.7, Dash::solid, false});
  }
  box.items.push_back(Label{{length + 8, by + 2.5},
                            "check: this bar is 50 mm on a true print (print at 100 %, not \"fit to page\")",
                            7.5,
                            inks.ink,
                            Anchor::left,
                            false,
                            0});
  flow.put(box, flow.left());
  flow.paragraph(
      data.margins_registered
          ? "Laid on each other by the fish's own skin pattern."
          : "Each margin is turned as its scale reference lay in the photo and centred on its own middle; read sizes and shapes, not places.",
      7);
}

}  // namespace uroko::report
