#pragma once
#include <functional>
#include <memory>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "uroko/base/result.h"
#include "uroko/margin/margin.h"

/// Edits of a margin as pure operations: an outline in, a new valid outline or a refusal out. What came in is never changed.
/// A result that crosses itself is repaired when that takes away less than a hundredth of the area, otherwise refused with the place.
namespace uroko::margin {

/// One vertex: of part `part`, ring 0 (outer) or 1.. (holes), at `vertex`.
struct VertexRef {
  int part = 0, ring = 0, vertex = 0;
  bool operator==(const VertexRef&) const = default;
};
/// A place on the line from vertex `from` to the next one.
struct EdgePlace {
  VertexRef from;
  ImagePoint at;
  double distance_px = 0;
};

/// The ring a reference names; nullptr when there is none.
const Ring<ImagePoint>* ring_at(const ImageOutline& outline, const VertexRef& ref);
std::optional<VertexRef> nearest_vertex(const ImageOutline& outline, const ImagePoint& p, double within_px);
std::optional<EdgePlace> nearest_edge(const ImageOutline& outline, const ImagePoint& p, double within_px);

/// A new vertex at `at` on the line nearest to it.
Result<ImageOutline> insert_vertex(const ImageOutline& outline, const ImagePoint& at);
Result<ImageOutline> move_vertex(const ImageOutline& outline, const VertexRef& ref, const ImagePoint& to);
/// Refuses to leave a ring of fewer than three vertices.
Result<ImageOutline> delete_vertex(const ImageOutline& outline, const VertexRef& ref);
/// Replaces the stretch between the places nearest to the line's ends by the line; of the two ways round, the one that runs closer to it.
Result<ImageOutline> redraw(const ImageOutline& outline, const std::vector<ImagePoint>& line);
/// Carries what lies within `radius_px` of `from` along to `to`, fully at the middle and not at all at the rim (cosine fall-off).
Result<ImageOutline> push(const ImageOutline& outline, const ImagePoint& from, const ImagePoint& to, double radius_px);
/// Cuts a part in two along a line that crosses its outer ring exactly twice; the areas add up exactly.
Result<ImageOutline> split(const ImageOutline& outline, const std::vector<ImagePoint>& line);
/// Joins two parts by a bridge of `width_px` along the line.
Result<ImageOutline> join(const ImageOutline& outline, const std::vector<ImagePoint>& line, double width_px);
/// A new part, or more of an old one.
Result<ImageOutline> add_part(const ImageOutline& outline, const Ring<ImagePoint>& ring);
Result<ImageOutline> remove_part(const ImageOutline& outline, const ImagePoint& inside);
Result<ImageOutline> fill_hole(const ImageOutline& outline, const ImagePoint& inside);
/// An island of skin. Refuses one outside the wound.
Result<ImageOutline> cut_hole(const ImageOutline& outline, const Ring<ImagePoint>& ring);
/// Fewest vertices by Douglas and Peucker with every old vertex within `tolerance_px` of the new line.
Result<ImageOutline> simplified(const ImageOutline& outline, double tolerance_px);
/// The same with the tolerance in mm where `mm_per_px` says what a pixel measures.
Result<ImageOutline> simplified_mm(const ImageOutline& outline, double tolerance_mm, const std::function<double(const ImagePoint&)>& mm_per_px);
/// Low-pass along the ring (Gaussian, `sigma_px` of arc length), then moved across itself until the ring's area is the old one to 1e-6.
Result<ImageOutline> smoothed(const ImageOutline& outline, double sigma_px);

/// A valid outline from one that may not be; refuses, with the fault and its place, when that would take away more than `most` of the area.
Result<ImageOutline> repaired(const ImageOutline& outline, double most = 0.01);

/// The margin with an edited outline: vertices that are still there keep their doubt, new ones take the nearest vertex's.
Margin with_outline(const Margin& margin, const ImageOutline& outline);

/// A live edge: from an anchor along the strongest edges to wherever the pointer is. Solved once an anchor on a crop of at most 256 px a side.
class LiveEdge {
 public:
  /// `reach_px`: how far from the anchor the pointer may go (8..4000).
  LiveEdge(const cv::Mat& bgr, const ImagePoint& anchor, double reach_px);
  ~LiveEdge();
  LiveEdge(LiveEdge&&) noexcept;
  LiveEdge& operator=(LiveEdge&&) noexcept;
  /// The path from the anchor to `to` (clamped into the crop), both ends included; fast enough for every pointer move.
  std::vector<ImagePoint> path_to(const ImagePoint& to) const;

 private:
  struct Solution;
  std::unique_ptr<Solution> solution_;
};

}  // namespace uroko::margin
