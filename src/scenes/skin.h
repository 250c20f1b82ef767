#pragma once
#include <Eigen/Core>
#include <optional>

#include "uroko/scenes/scene.h"

namespace uroko::scenes {

using Rgb = Eigen::Vector3d;  // linear light, sRGB primaries

Rgb linear_rgb(int r, int g, int b);

/// What one place of the skin looks like before light falls on it.
struct Surface {
  Rgb albedo;
  double slope_x = 0, slope_s = 0;  ///< relief that bends the normal
  double gloss = 1;                 ///< of the wet film
  double roughness = 1;             ///< 1: mucus, larger: blunter highlights
};

/// The koi's coat, scales and ulcer as pure functions of the place on the skin.
class Skin {
 public:
  /// `looks` false: the ulcer's reach alone, which is all that a plain picture asks; `at`, `tissue` and `shares` then are not to be called.
  explicit Skin(const Scene& scene, bool looks = true);
  Surface at(const SkinPoint& p) const;
  /// Precondition: inside the ulcer.
  bed::Tissue tissue(const SkinPoint& p) const;
  /// Shares of the bed by counting a grid of about `points` points.
  std::array<double, bed::kTissues> shares(int points) const;
  double largest_radius() const { return reach_; }

 private:
  struct BedFields {
    double pale, necrotic, slough;
  };
  BedFields bed_fields(const SkinPoint& p, double l) const;
  Surface coat(const SkinPoint& p, double calm) const;
  Surface bed(const SkinPoint& p, double l) const;
  template <class F>
  void each_inside(int points, F&& f) const;

  const Scene& scene_;
  double red_from_ = 1, black_from_ = 1, pale_below_ = -1e9, necrotic_from_ = 1e9, slough_from_ = 1e9, reach_ = 0;
};

}  // namespace uroko::scenes
