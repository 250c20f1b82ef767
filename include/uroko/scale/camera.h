#pragma once
#include <string>

#include "uroko/geometry/points.h"

namespace uroko::scale {

/// A pinhole camera with Brown-Conrady distortion, as in OpenCV (k1 k2 p1 p2 k3). Pixels, for one picture size.
struct Camera {
  enum class From { profile, exif, assumed };
  From from = From::assumed;
  double fx = 0, fy = 0, cx = 0, cy = 0;
  double k1 = 0, k2 = 0, p1 = 0, p2 = 0, k3 = 0;
  double focal_relative_u = 0.15;  ///< standard uncertainty of fx, fy as a share
  std::string name;

  bool distorts() const { return k1 != 0 || k2 != 0 || p1 != 0 || p2 != 0 || k3 != 0; }
  /// Photo pixel -> pixel of the ideal pinhole with the same fx, fy, cx, cy. Exact inverse of `distorted` to 1e-9 px within the frame.
  ImagePoint undistorted(const ImagePoint& p) const;
  ImagePoint distorted(const ImagePoint& p) const;
};

/// Focal length where nothing is known: 1.1 x the longer side (about 27 mm equivalent, a common phone's main camera: common practice).
Camera assumed_camera(int width_px, int height_px);

}  // namespace uroko::scale
