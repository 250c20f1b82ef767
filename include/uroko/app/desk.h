#pragma once
#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include "uroko/app/history.h"
#include "uroko/app/pyramid.h"
#include "uroko/app/tools.h"
#include "uroko/app/view.h"
#include "uroko/bed/bed.h"
#include "uroko/measure/measure.h"
#include "uroko/measure/one_photo.h"
#include "uroko/photo/photo.h"

namespace uroko::app {

/// Which lens profile straightens the photo. `itself`: the one kept for its camera, where there is one.
struct LensChoice {
  enum class By { itself, none, file } by = By::itself;
  std::filesystem::path file;
  bool operator==(const LensChoice&) const = default;
};

/// What undo brings back on the desk: how the photo gives millimetres, and the margin. Values are shared, never changed.
struct Work {
  std::optional<measure::ScaleChoice> choice;
  LensChoice lens;
  std::shared_ptr<const scale::PlaneMap> map;
  std::shared_ptr<const margin::Margin> margin;
  std::optional<ImagePoint> grey;  ///< a pixel that a person says is neutral
  std::optional<measure::Body> body;  ///< for the curve of the flank; none: read flat
  std::vector<std::shared_ptr<const margin::Margin>> earlier;  ///< traces of the same wound before `margin`; the area is the mean of all

  const ImageOutline& outline() const;  ///< empty when there is no margin
};

/// Where the photo on the desk belongs in the book; zeros when it is in none.
struct PhotoPlace {
  std::int64_t fish = 0, wound = 0, visit = 0, photo = 0;
  bool operator==(const PhotoPlace&) const = default;
};

/// What another reference in the photo gives for the same margin. It is compared, not kept.
struct SecondReference {
  std::uint64_t generation = 0;  ///< of the work that it was compared on
  scale::Kind kind{}, of{};      ///< it; the one in use
  double area_mm2 = 0, area_in_use_mm2 = 0;
  std::optional<Warning> differs;
};

/// The one photo that is being worked on.
struct Desk {
  std::uint64_t id = 0;  ///< deliveries for another desk are dropped
  std::filesystem::path file;
  PhotoPlace place;
  std::optional<photo::PhotoInfo> info;
  std::shared_ptr<const Pyramid> pyramid;        ///< of the preview first, then of the whole photo
  std::shared_ptr<const cv::Mat> bgr;            ///< whole photo, once decoded
  View view;
  History<Work> history;
  std::unique_ptr<Tool> tool;

  std::optional<Refusal> unreadable;  ///< why a photo of the book cannot be shown
  std::optional<Refusal> scale_refusal, margin_refusal, measure_refusal;
  bool finding_scale = false, finding_margin = false;
  std::uint64_t generation = 0;  ///< of the work; results of an older one are dropped
  std::shared_ptr<const measure::Measurement> measurement;
  std::shared_ptr<const bed::Bed> bed;
  std::optional<SecondReference> second;
  std::uint64_t measured = 0;    ///< generation that `measurement` belongs to; an older one is shown greyed
  std::optional<std::uint64_t> accepted;  ///< step of the history that the book holds
  std::optional<std::uint64_t> asked;     ///< step on its way into the book
  std::optional<Refusal> save_refusal;    ///< why the last one did not get there; the trace stays here
  bool loaded_whole() const { return bgr != nullptr; }
  bool unsaved() const { return history.now().margin && accepted != history.id(); }
  /// Found without a hint and not looked at by a person yet, also when the book holds it.
  bool proposed() const { return history.now().margin && history.now().margin->proposal; }
  bool acceptable() const { return unsaved() || proposed(); }
  /// A trace that no book can hold yet.
  bool traced_outside_book() const { return unsaved() && !place.photo; }
  bool saving() const { return asked == history.id(); }
  double photo_width() const { return info ? info->width_px : 1; }
  double photo_height() const { return info ? info->height_px : 1; }
};

}  // namespace uroko::app
