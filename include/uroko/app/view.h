#pragma once
#include "uroko/geometry/points.h"

namespace uroko::app {

/// A place in the photo's panel, in screen pixels from its top left corner.
struct ScreenPoint {
  double x = 0, y = 0;
  bool operator==(const ScreenPoint&) const = default;
};

/// How the photo lies in its panel: a similarity. `zoom`: screen pixels per photo pixel.
struct View {
  double width = 800, height = 600;  ///< the panel, screen pixels
  double zoom = 1;
  double turn_deg = 0;               ///< of the photo, clockwise as seen
  ImagePoint centre;                 ///< the photo's point in the panel's middle
  bool fitted = true;                ///< refit when the panel's size changes

  static constexpr double kLeast = 0.005, kMost = 64;

  ScreenPoint to_screen(const ImagePoint& p) const;
  ImagePoint to_photo(const ScreenPoint& p) const;
  /// The photo's point under `at` stays there.
  void zoom_about(const ScreenPoint& at, double factor);
  void pan(double dx, double dy);
  void turn(double degrees);
  void fit(double photo_width, double photo_height, double margin = 0);
  /// Fits the photo's box given by two corners.
  void fit_box(const ImagePoint& low, const ImagePoint& high, double margin);
  void one_to_one();
  void resize(double w, double h, double photo_width, double photo_height);
};

}  // namespace uroko::app
