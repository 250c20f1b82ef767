#pragma once
#include <optional>
#include <string>
#include <vector>

#include "uroko/report/scene.h"

namespace uroko::report {

/// A place on the drawn koi as the case book keeps it: x 0 snout .. 1 end of the tail, y 0 back .. 1 belly, whichever way the fish looks.
struct KoiPlace {
  double x = 0.5, y = 0.5;
};

struct KoiOutlineOptions {
  double width = 220;  ///< points; the height follows
  Theme theme = Theme::light;
  bool looks_left = true;         ///< the left flank is drawn with the head at the left, the right flank with the head at the right
  std::optional<KoiPlace> wound;  ///< marked with a hatched ellipse and a cross
  double wound_length = 0;        ///< share of the fish's length; 0: a mark of fixed size
  bool ground = false;
};

/// A koi seen from its side. `place_of` and `at_place` turn between the drawing and the book's coordinates.
struct KoiOutline {
  Scene scene;
  bool looks_left = true;
  KoiPlace place_of(Point p) const;
  Point at_place(KoiPlace place) const;
  bool on_body(Point p) const;
};
KoiOutline koi_outline(const KoiOutlineOptions& options = {});

/// Names of body sites, snout to tail, and where they lie.
struct BodySite {
  std::string name;
  KoiPlace place;
};
const std::vector<BodySite>& body_sites();
/// The site whose name the text holds ("left flank" -> flank), the longest name first.
std::optional<KoiPlace> site_place(const std::string& site);
/// The nearest site's name, for a click on the drawing.
const std::string& site_near(KoiPlace place);

}  // namespace uroko::report
