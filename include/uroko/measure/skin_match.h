#pragma once
#include <filesystem>
#include <memory>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "uroko/base/result.h"
#include "uroko/base/token.h"
#include "uroko/scale/plane_map.h"

/// Two visits laid over each other by the skin's own pattern: scales, patches of colour and pigment outside the margin. For the eye (nested
/// outlines, the ghost); no area is ever taken from it.
namespace uroko::measure {

struct SkinOptions {
  double reach_mm = 45;     ///< skin up to that far from the margin is looked at, 10..100
  double px_per_mm = 8;     ///< of the rectified picture, 3..16; never finer than the photo
  int most_points = 2500;   ///< points of the pattern kept, the strongest
  double spare_mm = 2;      ///< breadth round the margin that is left out: it changes while the wound heals
};

/// The points of the pattern round one wound, on its reference's plane.
struct SkinPattern {
  struct Point {
    PlanePoint at;       ///< mm
    double size_mm = 0;  ///< diameter of the patch that it describes
    double angle = 0;    ///< rad, its direction on the plane
  };
  std::vector<Point> points;
  cv::Mat descriptors;         ///< CV_32F, a row a point (RootSIFT)
  PlanePoint middle;           ///< of the wound; of the rectified skin where no margin was given
  double radius_mm = 10;       ///< of a circle as large as the wound
  double photo_px_per_mm = 0;  ///< of the photo there
  std::optional<PlanePoint> bound_from, bound_to;  ///< ends of a ruler or opposite corners of a mat, which could pass for skin that did not move
};

/// `bgr`: 8-bit, `scale` pixels per photo pixel (1: the whole photo). `outline` in photo pixels; it may be empty where none is traced yet.
/// Skin under the reference, inside the margin and in highlights is left out. Never fails: a plain skin gives few points.
SkinPattern read_skin(const cv::Mat& bgr, double scale, const scale::PlaneMap& map, const ImageOutline& outline, const SkinOptions& options = {});
/// From the file, reduced to what is needed. Throws Error(Fault::input).
SkinPattern read_skin(const std::filesystem::path& photo, const scale::PlaneMap& map, const ImageOutline& outline, const SkinOptions& options = {});

/// The same of several photos at once, on all cores. Null where a photo cannot be read or has no map. Cancelled: the rest stays null.
struct SkinPhoto {
  std::filesystem::path file;
  std::shared_ptr<const scale::PlaneMap> map;
  ImageOutline outline;
};
std::vector<std::shared_ptr<const SkinPattern>> read_skins(const std::vector<SkinPhoto>& photos, const Token& token = {});

/// Millimetres of one visit's plane -> millimetres of another's: turned, then moved. No change of size: both references give millimetres.
struct SkinMotion {
  double turn = 0;      ///< rad, from +x towards +y
  PlanePoint shift_mm;
  PlanePoint operator()(const PlanePoint& p) const;
  PlaneOutline operator()(const PlaneOutline& outline) const;
  SkinMotion after(const SkinMotion& first) const;  ///< first `first`, then this
  SkinMotion inverse() const;
};

struct SkinMatch {
  SkinMotion to_from;       ///< `to` plane from `from` plane
  int inliers = 0, pairs = 0;  ///< points that fit the motion, of those that looked alike
  double rms_mm = 0;        ///< residual of the inliers, over both axes
  int sectors = 0;          ///< of eight round the wound that hold inliers, 1..8
  double scale_ratio = 1;   ///< size by the skin / size by the references, from a similarity on the same points: a check, not applied
  double bend_mm = 0;       ///< RMS by which the wound's rim does not move like a rigid plane (the flank's curve seen from two sides)
  double u_shift_mm = 0;    ///< standard uncertainty at the wound's middle, per axis: of the points, and half of the bend
  double u_turn = 0;        ///< rad, likewise
};

/// Refuses: "plain-skin" (too few points in a picture), "no-match" (too few that agree, or on one side of the wound only: another fish, another
/// place, skin that changed), "scale" (the skin says that the two references differ by more than 10 %). The same answer every time.
Result<SkinMatch> match_skin(const SkinPattern& from, const SkinPattern& to);

/// How each visit of a series was laid over the first.
struct AlignedVisit {
  std::optional<SkinMotion> to_first;  ///< nothing: the skin did not tell
  std::size_t by = 0;                  ///< the visit that it was matched with
  std::optional<SkinMatch> match;
  std::optional<Refusal> refusal;      ///< of the match with the visit before it
};
/// Oldest first. Each is matched with the first, and where the skin has changed too much since then with the visits before it. A null pattern is a
/// visit without a readable photo. Cancelled: what is done so far.
std::vector<AlignedVisit> align_visits(const std::vector<std::shared_ptr<const SkinPattern>>& visits, const Token& token = {});

}  // namespace uroko::measure
