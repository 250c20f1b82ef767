#include "uroko/report/annotated.h"

#include <fmt/format.h>

#include <algorithm>
#include <opencv2/imgproc.hpp>

#include "uroko/report/chart.h"

namespace uroko::report {

namespace {
constexpr Colour kLight{255, 255, 255, 220}, kMargin{0, 114, 178}, kInk{24, 33, 38, 205}, kPaper{251, 250, 246};
}

Scene annotated(const measure::PhotoResult& r, double longest) {
  const cv::Mat& bgr = r.photo.bgr;
  const double s = std::min(1.0, longest / std::max(bgr.cols, bgr.rows));
  Scene scene{bgr.cols * s, bgr.rows * s, {}};
  cv::Mat reduced;
  cv::resize(bgr, reduced, {}, std::min(1.0, 2 * s), std::min(1.0, 2 * s), cv::INTER_AREA);
  scene.items.push_back(Picture{{0, 0}, scene.width, scene.height, reduced});
  // Pixel centres at integers: the picture's own edge lies half a pixel outside.
  const auto at = [&](const ImagePoint& p) { return Point{(p.x + 0.5) * s, (p.y + 0.5) * s}; };
  const auto ring = [&](const std::vector<ImagePoint>& points, Colour colour, double width, Dash dash) {
    PolyLine line{{}, colour, width, dash, true};
    for (const auto& p : points) line.points.push_back(at(p));
    scene.items.push_back(std::move(line));
  };
  if (r.map.reference.size() > 2) ring(r.map.reference, kLight, 1.5, Dash::dashed);
  for (const auto& part : r.margin.outline.parts) {
    ring(part.outer, kLight, 4, Dash::solid);
    ring(part.outer, kMargin, 2, Dash::solid);
    for (const auto& hole : part.holes) {
      ring(hole, kLight, 4, Dash::solid);
      ring(hole, kMargin, 2, Dash::dashed);
    }
  }
  const double size = std::clamp(scene.width / 60, 8.0, 24.0), pad = size * 0.7;
  const auto plate = [&](double x, double y, double w, double h) { scene.items.push_back(Fill{{{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}}, kInk, Hatch::none}); };
  const auto& a = r.measurement.area_mm2;
  const std::string text = fmt::format("{:.1f} mm²   95 %: {:.1f} to {:.1f}", a.value, a.low95, a.high95);
  plate(pad, pad, size * 0.62 * static_cast<double>(text.size()), size * 2);
  scene.items.push_back(Label{{2 * pad, pad + size * 1.35}, text, size, kPaper, Anchor::left, true, 0});
  const double bar = 10 / r.map.mm_per_px(centroid(r.margin.outline)) * s;
  const double x1 = scene.width - 2 * pad - std::max(bar, size * 4), y = scene.height - 2 * pad - size;
  plate(x1 - pad, y - size * 0.7, scene.width - pad - (x1 - pad), size * 2.2);
  scene.items.push_back(PolyLine{{{x1, y}, {x1 + bar, y}}, kPaper, 3, Dash::solid, false});
  scene.items.push_back(Label{{x1, y + size * 1.2}, "10 mm", size * 0.9, kPaper, Anchor::left, false, 0});
  return scene;
}

std::string annotated_png(const measure::PhotoResult& result) { return paint(annotated(result, 1000), ".png"); }

}  // namespace uroko::report
