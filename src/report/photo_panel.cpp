#include "report/photo_panel.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace uroko::report {
namespace {

// A window of the panel's shape round the outline with half its size of skin on each side, inside the photo where it can be.
cv::Rect2d window(const SheetPhoto& photo, double aspect, double mm) {
  const double W = photo.bgr.cols, H = photo.bgr.rows;
  double x0 = 0, y0 = 0, x1 = W, y1 = H;
  if (!photo.outline.empty()) {
    x0 = y0 = INFINITY;
    x1 = y1 = -INFINITY;
    for (const auto& part : photo.outline.parts)
      for (const auto& p : part.outer) {
        x0 = std::min(x0, p.x), x1 = std::max(x1, p.x);
        y0 = std::min(y0, p.y), y1 = std::max(y1, p.y);
      }
    const double pad = 0.5 * std::max({x1 - x0, y1 - y0, 8.0});
    x0 -= pad, x1 += pad, y0 -= pad, y1 += pad;
  }
  double w = x1 - x0, h = y1 - y0;
  if (w < h * aspect)
    w = h * aspect;
  else
    h = w / aspect;
  if (mm > 0 && photo.px_per_mm > 0) w = mm * photo.px_per_mm, h = w / aspect;
  const double shrink = std::min({1.0, W / w, H / h});
  w *= shrink, h *= shrink;
  const double cx = std::clamp((x0 + x1) / 2, w / 2, W - w / 2), cy = std::clamp((y0 + y1) / 2, h / 2, H - h / 2);
  return {cx - w / 2, cy - h / 2, w, h};
}

}  // namespace

double panel_mm(const SheetPhoto& photo, double aspect) {
  return photo.bgr.empty() || photo.px_per_mm <= 0 ? 0 : window(photo, aspect, 0).width / photo.px_per_mm;
}

Scene photo_panel(const SheetPhoto& photo, double w, double h, bool with_margin, const Palette& colours, double mm) {
  Scene panel{w, h, {}};
  const std::vector<Point> frame{{0, 0}, {w, 0}, {w, h}, {0, h}};
  if (photo.bgr.empty()) {
    panel.items.push_back(PolyLine{frame, colours.hairline, 0.8, Dash::dashed, true});
    double y = h / 2;
    for (const auto& line : wrapped(photo.trouble.empty() ? "no photo" : photo.trouble, 8, w - 24)) {
      panel.items.push_back(Label{{w / 2, y}, line, 8, colours.quiet, Anchor::middle, false, 0});
      y += 11;
    }
    return panel;
  }
  const cv::Rect2d view = window(photo, w / h, mm);
  // About 300 px an inch on paper, never more than the photo has.
  const double px = std::min(w * 300 / 72, view.width), zoom = px / view.width;
  const cv::Size size(std::max(1, static_cast<int>(std::lround(px))), std::max(1, static_cast<int>(std::lround(view.height * zoom))));
  // Pixel centres: picture (x + 0.5) / zoom - 0.5 + view.x.
  const cv::Matx23d to_photo(1 / zoom, 0, view.x + 0.5 / zoom - 0.5 + 0.0, 0, 1 / zoom, view.y + 0.5 / zoom - 0.5);
  cv::Mat crop;
  if (zoom < 0.7) {
    const cv::Rect box = cv::Rect(cv::Point(static_cast<int>(std::floor(view.x)), static_cast<int>(std::floor(view.y))),
                                  cv::Point(static_cast<int>(std::ceil(view.x + view.width)), static_cast<int>(std::ceil(view.y + view.height)))) &
                         cv::Rect(0, 0, photo.bgr.cols, photo.bgr.rows);
    cv::resize(photo.bgr(box), crop, size, 0, 0, cv::INTER_AREA);
  } else {
    cv::warpAffine(photo.bgr, crop, to_photo, size, cv::INTER_LINEAR | cv::WARP_INVERSE_MAP, cv::BORDER_REPLICATE);
  }
  panel.items.push_back(Picture{{0, 0}, w, h, crop});
  const double points_per_px = w / view.width;
  if (with_margin) {
    const auto ring = [&](const Ring<ImagePoint>& r) {
      std::vector<Point> points;
      for (const auto& p : r) points.push_back({(p.x + 0.5 - view.x) * points_per_px, (p.y + 0.5 - view.y) * points_per_px});
      panel.items.push_back(PolyLine{points, {255, 255, 255, 230}, 2.6, Dash::solid, true});
      panel.items.push_back(PolyLine{points, okabe_ito::blue, 1.1, Dash::solid, true});
    };
    for (const auto& part : photo.outline.parts) {
      ring(part.outer);
      for (const auto& hole : part.holes) ring(hole);
    }
  }
  if (const double length = 10 * photo.px_per_mm * points_per_px; length > 0) {
    if (length < 0.6 * w) {
      const double x = w - 10 - length, y = h - 11;
      panel.items.push_back(Fill{{{x - 6, y - 12}, {w - 4, y - 12}, {w - 4, h - 4}, {x - 6, h - 4}}, {20, 22, 26, 150}, Hatch::none});
      panel.items.push_back(PolyLine{{{x, y}, {x + length, y}}, {255, 255, 255}, 1.6, Dash::solid, false});
      for (double end : {x, x + length}) panel.items.push_back(PolyLine{{{end, y - 2.6}, {end, y + 2.6}}, {255, 255, 255}, 1.2, Dash::solid, false});
      panel.items.push_back(Label{{x + length / 2, y - 4}, "10 mm", 7, {255, 255, 255}, Anchor::middle, false, 0});
    }
  }
  return panel;
}

}  // namespace uroko::report
