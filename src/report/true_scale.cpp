#include "report/true_scale.h"

#include <algorithm>
#include <cmath>

#include "uroko/base/text.h"
#include "uroko/geometry/polygon.h"
#include "uroko/report/words.h"

namespace uroko::report {
namespace {

// Not colour alone: from light to dark as time goes on, dashed and full by turns; the oldest a blue dash, the newest a full heavy line.
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
    const double t = n > 3 ? static_cast<double>(i - 1) / static_cast<double>(n - 3) : 0.5;
    const auto mix = [&](int from, int to) { return static_cast<std::uint8_t>(std::lround(from + t * (to - from))); };
    line.colour = {mix(160, 70), mix(176, 84), mix(188, 98)};
    line.width = 0.8 + 0.2 * t;
    line.dash = i % 2 ? Dash::solid : Dash::dashed;
  }
  return line;
}

/// Which way they were laid, in words: only what the figure shows.
std::string lay_text(const SheetData& data, const std::vector<const SheetMargin*>& all, const std::vector<std::size_t>& picks) {
  const auto by_skin = std::count_if(picks.begin(), picks.end(), [&](std::size_t i) { return all[i]->by_skin; });
  if (by_skin < 2)
    return std::string(data.margins_level ? "Each margin is turned so that the fish's lateral midline, as marked in its photo, lies level, and is centred on its own middle"
                                          : "Each margin is turned as its scale reference lay in the photo and is centred on its own middle") +
           ": read sizes and shapes, not places.";
  std::string text = "Laid over each other by the skin's own pattern in the photos";
  if (by_skin < static_cast<long>(picks.size())) {
    std::string others;
    for (const auto i : picks)
      if (!all[i]->by_skin) others += (others.empty() ? "" : ", ") + all[i]->date.iso_date();
    return text + "; only centred on the one before, for the skin did not tell: " + others + " (read their sizes, not their places).";
  }
  return text + (data.margins_level ? ", the fish's lateral midline level" : "") + "; for the eye, no area is taken from it.";
}

}  // namespace

std::vector<std::size_t> drawn_margins(std::size_t all) {
  constexpr std::size_t kMost = 8;
  std::vector<std::size_t> out;
  for (std::size_t k = 0; k < std::min(all, kMost); ++k)
    out.push_back(all <= kMost ? k : static_cast<std::size_t>(std::lround(static_cast<double>(k) * static_cast<double>(all - 1) / static_cast<double>(kMost - 1))));
  return out;
}

void true_scale_margins(Flow& flow, const SheetData& data) {
  const Palette& inks = palette(Theme::light);
  std::vector<const SheetMargin*> all;
  for (const auto& m : data.margins)
    if (!m.outline_mm.empty()) all.push_back(&m);
  if (all.empty()) return;
  const auto picks = drawn_margins(all.size());
  const bool placed = std::any_of(all.begin(), all.end(), [](const auto* m) { return m->by_skin; });
  std::vector<PlaneOutline> outlines;
  double x0 = INFINITY, y0 = INFINITY, x1 = -INFINITY, y1 = -INFINITY;
  for (std::size_t i : picks) {
    const PlanePoint c = placed ? PlanePoint{} : centroid(all[i]->outline_mm);
    PlaneOutline o = shifted(all[i]->outline_mm, -c.x, -c.y);
    for (const auto& part : o.parts)
      for (const auto& p : part.outer) {
        x0 = std::min(x0, p.x), x1 = std::max(x1, p.x);
        y0 = std::min(y0, p.y), y1 = std::max(y1, p.y);
      }
    outlines.push_back(std::move(o));
  }
  const double w_mm = x1 - x0, h_mm = y1 - y0, bar = kCheckMm * kPointsPerMm;
  // The check bar stands under the list of visits, below everything where the wound needs that width.
  const bool beside = w_mm * kPointsPerMm <= flow.inner() - bar - 34;
  const double legend = beside ? bar + 10 : 118, free_w = flow.inner() - legend - 20;
  // A wound wider than the paper is drawn at a half, a quarter ... and says so.
  double scale = 1;
  while (w_mm * scale * kPointsPerMm > free_w || h_mm * scale * kPointsPerMm > 430) scale /= 2;
  const double per_mm = scale * kPointsPerMm, list = 6 + 11.0 * static_cast<double>(picks.size()) + (all.size() > picks.size() ? 11 : 0) + (beside ? 46 : 0);
  // Whole centimetres, so that the grid behind it closes.
  const double cm = 10 * kPointsPerMm, body = std::ceil(std::max(h_mm * per_mm + 12, list) / cm) * cm, across = std::floor(free_w / cm) * cm;
  const double height = body + (beside ? 6 : 30);
  flow.heading(scale == 1 ? "Margins at true size (1 mm is 1 mm)" : "Margins at 1:" + number_text(1 / scale), height);
  Scene box{flow.inner(), height, {}};
  for (double x = 0; x <= across + 0.01; x += cm) box.items.push_back(PolyLine{{{x, 0}, {x, body}}, inks.hairline, 0.4, Dash::solid, false});
  for (double y = 0; y <= body + 0.01; y += cm) box.items.push_back(PolyLine{{{0, y}, {across, y}}, inks.hairline, 0.4, Dash::solid, false});
  const Point centre{std::max(across / 2, w_mm * per_mm / 2 + 2), body / 2};
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
  const double lx = flow.inner() - legend;
  double y = 9;
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
  if (all.size() > picks.size()) {
    box.items.push_back(Label{{lx, y}, std::to_string(picks.size()) + " of " + std::to_string(all.size()) + " visits", 7, inks.quiet, Anchor::left, false, 0});
  }
  const double bx = beside ? lx : 0, by = beside ? body - 26 : height - 14;
  box.items.push_back(PolyLine{{{bx, by}, {bx + bar, by}}, inks.ink, 0.9, Dash::solid, false});
  for (int mm = 0; mm <= static_cast<int>(kCheckMm); mm += 10) {
    const double x = bx + mm * kPointsPerMm, tall = mm % 50 ? 3 : 5;
    box.items.push_back(PolyLine{{{x, by - tall}, {x, by + tall}}, inks.ink, 0.7, Dash::solid, false});
  }
  const std::string check = "check: this bar is 50 mm on a true print", how = "print at 100 %, not \"fit to page\"";
  if (beside) {
    box.items.push_back(Label{{bx, by + 14}, fitted(check, 7, legend), 7, inks.ink, Anchor::left, false, 0});
    box.items.push_back(Label{{bx, by + 23}, how, 7, inks.quiet, Anchor::left, false, 0});
  } else {
    box.items.push_back(Label{{bar + 8, by + 2.5}, check + " (" + how + ")", 7.5, inks.ink, Anchor::left, false, 0});
  }
  flow.put(box, flow.left(), "Margins of " + std::to_string(picks.size()) + " visits drawn one in the other" + (scale == 1 ? " at true size" : "") + ", with their dates and areas and a check bar of 50 mm");
  flow.space(2);
  flow.paragraph(std::string("The grid is 10 mm") + (scale == 1 ? "" : " times " + number_text(1 / scale)) + ". " + lay_text(data, all, picks), 7);
}

}  // namespace uroko::report
