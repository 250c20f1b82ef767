#pragma once
#include <opencv2/core.hpp>

#include "uroko/geometry/homography.h"
#include "uroko/scale/camera.h"
#include "uroko/scale/plane_map.h"

namespace uroko::testing {

/// A flat print seen by a camera, nothing else: the least renderer that the scale room's tests need. It shares no geometry with the
/// product: the pose's matrix is written out here, the picture is warped by OpenCV at twice the size (four times for prints finer
/// than 14 px/mm) and averaged down.
struct FlatView {
  int width = 1600, height = 1200;
  double focal_px = 1760;
  double distance_mm = 300;
  double tilt_deg = 0;         ///< of the plane
  double tilt_towards_deg = 0; ///< direction of the tilt in the plane
  double turn_deg = 0;         ///< in-plane
  double x_mm = 0, y_mm = 0;   ///< the print's centre off the optical axis
  double blur_px = 0.8, noise = 3;
  double contrast = 0.8, dark = 20;  ///< grey = dark + contrast * print
  double ground = 90;
  unsigned seed = 1;
  double curl_radius_mm = 0;   ///< > 0: bent about the short axis
  double fold_deg = 0;         ///< or folded across its middle: the right half rises towards the camera
};

struct FlatPhoto {
  cv::Mat bgr;
  Homography<PlanePoint, ImagePoint> image_from_print;  ///< exact for a flat print
  double tilt_deg = 0;
};

/// `print`: px_per_mm pixels per mm, edge to edge.
FlatPhoto photograph(const cv::Mat& print, double px_per_mm, const FlatView& view);

/// Area in mm2 that the map gives for what is truly a disc of that radius at that place of the print, as a share of the truth.
double area_ratio(const scale::PlaneMap& map, const FlatPhoto& photo, double x_mm, double y_mm, double radius_mm);

}  // namespace uroko::testing
