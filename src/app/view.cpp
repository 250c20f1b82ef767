#include "uroko/app/view.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace uroko::app {

namespace {
double radians(double deg) { return deg * std::numbers::pi / 180; }
}  // namespace

ScreenPoint View::to_screen(const ImagePoint& p) const {
  const double c = std::cos(radians(turn_deg)), s = std::sin(radians(turn_deg)), x = (p.x - centre.x) * zoom, y = (p.y - centre.y) * zoom;
  return {width / 2 + c * x - s * y, height / 2 + s * x + c * y};
}

ImagePoint View::to_photo(const ScreenPoint& p) const {
  const double c = std::cos(radians(turn_deg)), s = std::sin(radians(turn_deg)), x = (p.x - width / 2) / zoom, y = (p.y - height / 2) / zoom;
  return {centre.x + c * x + s * y, centre.y - s * x + c * y};
}

void View::zoom_about(const ScreenPoint& at, double factor) {
  const auto fixed = to_photo(at);
  zoom = std::clamp(zoom * factor, kLeast, kMost);
  const auto moved = to_photo(at);
  centre.x += fixed.x - moved.x;
  centre.y += fixed.y - moved.y;
  fitted = false;
}

void View::pan(double dx, double dy) {
  const auto a = to_photo({0, 0}), b = to_photo({dx, dy});
  centre.x -= b.x - a.x;
  centre.y -= b.y - a.y;
  fitted = false;
}

void View::turn(double degrees) { turn_deg = std::remainder(turn_deg + degrees, 360.0); }

void View::fit(double w, double h, double margin) {
  // Pixel centres at integers: the photo covers -0.5 .. w - 0.5.
  fit_box({-0.5, -0.5}, {w - 0.5, h - 0.5}, margin);
  fitted = true;
}

void View::fit_box(const ImagePoint& low, const ImagePoint& high, double margin) {
  const double w = std::max(1.0, high.x - low.x), h = std::max(1.0, high.y - low.y);
  const double c = std::abs(std::cos(radians(turn_deg))), s = std::abs(std::sin(radians(turn_deg)));
  zoom = std::clamp(std::min((width - 2 * margin) / (w * c + h * s), (height - 2 * margin) / (w * s + h * c)), kLeast, kMost);
  centre = {(low.x + high.x) / 2, (low.y + high.y) / 2};
  fitted = false;
}

void View::one_to_one() {
  zoom = 1;
  fitted = false;
}

void View::resize(double w, double h, double photo_width, double photo_height) {
  if (w == width && h == height) return;
  width = w;
  height = h;
  if (fitted) fit(photo_width, photo_height);
}

}  // namespace uroko::app
