#pragma once
#include <optional>
#include <string>
#include <vector>

#include "uroko/geometry/points.h"

namespace uroko::scale {

/// A pinhole camera with Brown-Conrady distortion, as in OpenCV (k1 k2 p1 p2 k3). Pixels, for one picture size.
struct Camera {
  enum class From { profile, exif, assumed };
  From from = From::assumed;
  double fx = 0, fy = 0, cx = 0, cy = 0;
  double k1 = 0, k2 = 0, p1 = 0, p2 = 0, k3 = 0;
  double focal_relative_u = 0.15;  ///< standard uncertainty of fx, fy as a share
  /// Standard uncertainty of k1. None: 0.002 for a calibrated lens, 0.02 for one that is not (phones straighten their pictures to about 1 % at
  /// the corners: common practice).
  std::optional<double> k1_u;
  std::string name;

  double k1_doubt() const { return k1_u.value_or(from == From::profile ? 0.002 : 0.02); }

  bool distorts() const { return k1 != 0 || k2 != 0 || p1 != 0 || p2 != 0 || k3 != 0; }
  /// Photo pixel -> pixel of the ideal pinhole with the same fx, fy, cx, cy. Exact inverse of `distorted` to 1e-9 px within the frame.
  ImagePoint undistorted(const ImagePoint& p) const;
  std::vector<ImagePoint> undistorted(const std::vector<ImagePoint>& points) const;
  ImagePoint distorted(const ImagePoint& p) const;
};

/// Focal length where nothing is known: 1.1 x the longer side (about 27 mm equivalent, a common phone's main camera: common practice).
Camera assumed_camera(int width_px, int height_px);

}  // namespace uroko::scale
