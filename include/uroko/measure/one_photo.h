#pragma once
#include <array>
#include <filesystem>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <variant>
#include <vector>

#include "uroko/measure/measure.h"

namespace uroko::measure {

/// How the photo gives millimetres.
struct ByCard {
  double print_scale = 1;  ///< what the printed check length measures / what it should
};
struct ByRuler {
  ImagePoint from, to;
  double length_mm = 0;
};
struct ByDisc {
  ImagePoint near;
  double diameter_mm = 0;
};
struct ByRectangle {
  std::array<ImagePoint, 4> corners;
  double width_mm = 0, height_mm = 0;
};
struct ByBoard {
  int columns = 0, rows = 0;  ///< inner corners
  double square_mm = 0;
};
using ScaleChoice = std::variant<ByCard, ByRuler, ByDisc, ByRectangle, ByBoard>;

/// The plane map by that choice.
Result<scale::PlaneMap> find_scale(const cv::Mat& bgr, const scale::Camera& camera, const ScaleChoice& choice);

/// How the margin is had.
struct Given {
  ImageOutline outline;
  std::vector<ImageOutline> repeats;  ///< further traces of the same wound in the same photo
};
struct Around {
  ImageOutline loop;
};
struct FromPoint {
  ImagePoint inside;
};
struct NoHint {};
using MarginChoice = std::variant<Given, Around, FromPoint, NoHint>;

/// Everything that is needed to measure one photo, and to do it again.
struct PhotoRequest {
  std::filesystem::path file;
  ScaleChoice scale;
  std::optional<ScaleChoice> check;  ///< a second reference in the photo: it does not measure, but what it gives is compared
  std::optional<std::filesystem::path> lens_profile;
  MarginChoice margin;
  std::vector<margin::Stroke> keep, drop;
  MeasureOptions options;
};

/// One photo's whole way: what was found at each step.
struct PhotoResult {
  photo::Photo photo;
  scale::PlaneMap map;
  margin::Margin margin;            ///< of repeat traces: the one whose area is nearest to their mean
  Measurement measurement;
  bed::Bed bed;
  /// What the second reference gives for the same margin; a disagreement is warned of ("references-disagree").
  struct Check {
    scale::PlaneMap map;
    double area_mm2 = 0;
    bool agrees = true;
  };
  std::optional<Check> check;
};

/// Load, scale, margin, measure, bed. Throws Error(Fault::input) for the photo, Error(Fault::not_measured) for a refusal of any step,
/// Error(Fault::usage) for an invalid outline.
PhotoResult measure_photo(const PhotoRequest& request);

/// Several photos of one wound on one visit: each by itself, and together (see `combined`). A warning "dates" where they were not taken on the
/// same day. Precondition: not empty.
struct VisitResult {
  std::vector<PhotoResult> photos;
  Measurement measurement;
};
VisitResult measure_visit(const std::vector<PhotoRequest>& requests);

/// The camera to assume for a photo: the profile given (a mismatch is told in `warnings`), else one kept for it, else EXIF, else the common phone's.
scale::Camera camera_of(const photo::PhotoInfo& info, const std::optional<std::filesystem::path>& lens_profile, std::vector<Warning>* warnings = nullptr);

/// From the card's grey patches; none for the other references.
bed::WhiteBalance balance_of(const cv::Mat& bgr, const scale::PlaneMap& map);

/// A margin without any hint, outside the reference; the colours decide, and they must not be the lamp's.
Result<margin::Margin> propose_margin(const cv::Mat& bgr, const scale::PlaneMap& map, const bed::WhiteBalance& balance);

/// The contract's JSON object for one photo.
nlohmann::json to_json(const PhotoResult& result);
/// {"visit": {"date", "photos"}, area, perimeter, length, width, budget, warnings, "photos": [the object of each]}.
nlohmann::json to_json(const VisitResult& visit);
nlohmann::json to_json(const Estimate& estimate);

}  // namespace uroko::measure
