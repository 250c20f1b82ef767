#include "support/flat_photo.h"

#include <Eigen/Dense>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "uroko/base/random.h"
#include "uroko/geometry/polygon.h"

namespace uroko::testing {

FlatPhoto photograph(const cv::Mat& print, double px_per_mm, const FlatView& view) {
  const double rad = std::numbers::pi / 180;
  const double w = print.cols / px_per_mm, h = print.rows / px_per_mm;
  const Eigen::Vector3d towards(std::cos(view.tilt_towards_deg * rad), std::sin(view.tilt_towards_deg * rad), 0);
  const Eigen::Vector3d axis(-towards.y(), towards.x(), 0);
  const Eigen::Matrix3d r = Eigen::AngleAxisd(view.tilt_deg * rad, axis).toRotationMatrix() *
                            Eigen::AngleAxisd(view.turn_deg * rad, Eigen::Vector3d::UnitZ()).toRotationMatrix();
  const Eigen::Vector3d centre(view.x_mm, view.y_mm, view.distance_mm);
  const Eigen::Vector3d t = centre - r * Eigen::Vector3d(w / 2, h / 2, 0);
  Eigen::Matrix3d k, rt;
  k << view.focal_px, 0, (view.width - 1) / 2.0, 0, view.focal_px, (view.height - 1) / 2.0, 0, 0, 1;
  rt << r.col(0), r.col(1), t;
  FlatPhoto out;
  const Eigen::Matrix3d image_from_mm = k * rt;
  out.image_from_print = Homography<PlanePoint, ImagePoint>(image_from_mm);
  out.tilt_deg = std::acos(std::abs(r(2, 2))) / rad;

  // About one print pixel a sample: finer samples of a coarse print show nothing more.
  const int over = px_per_mm > 14 ? 4 : 2;
  cv::Mat large;
  const int W = view.width * over, H = view.height * over;
  const cv::Mat ground(1, 1, CV_8UC3, cv::Scalar::all(255));
  if (view.fold_deg != 0) {
    cv::Mat map_x(H, W, CV_32F), map_y(H, W, CV_32F);
    const Eigen::Matrix3d k_inverse = k.inverse();
    const Eigen::Vector3d o = -r.transpose() * t, hinge(w / 2, 0, 0);
    const double fold = view.fold_deg * rad;
    for (int y = 0; y < H; ++y)
      for (int x = 0; x < W; ++x) {
        const Eigen::Vector3d ray = r.transpose() * (k_inverse * Eigen::Vector3d((x + 0.5) / over - 0.5, (y + 0.5) / over - 0.5, 1));
        // Where the ray meets the half that lies flat, else the one that rises from the hinge.
        Eigen::Vector3d p = o - o.z() / ray.z() * ray;
        double along = p.x();
        if (along > w / 2) {
          const Eigen::Vector3d normal(std::sin(fold), 0, std::cos(fold));
          p = o + (hinge - o).dot(normal) / ray.dot(normal) * ray;
          along = w / 2 + (p - hinge).dot(Eigen::Vector3d(std::cos(fold), 0, -std::sin(fold)));
        }
        map_x.at<float>(y, x) = static_cast<float>(along * px_per_mm - 0.5);
        map_y.at<float>(y, x) = static_cast<float>(p.y() * px_per_mm - 0.5);
      }
    cv::remap(print, large, map_x, map_y, cv::INTER_LINEAR, cv::BORDER_CONSTANT, cv::Scalar::all((view.ground - view.dark) / view.contrast));
  } else if (view.curl_radius_mm > 0) {
    // The print's x runs along an arc; every pixel's ray meets the cylinder (towards the camera at the ends).
    cv::Mat map_x(H, W, CV_32F), map_y(H, W, CV_32F);
    const Eigen::Matrix3d k_inverse = k.inverse();
    const double R = view.curl_radius_mm;
    for (int y = 0; y < H; ++y)
      for (int x = 0; x < W; ++x) {
        const Eigen::Vector3d ray = r.transpose() * (k_inverse * Eigen::Vector3d((x + 0.5) / over - 0.5, (y + 0.5) / over - 0.5, 1));
        const Eigen::Vector3d o = -r.transpose() * t;  // camera in print coordinates
        // (X - w/2)^2 + (Z + R)^2 = R^2, the far side
        const double ox = o.x() - w / 2, oz = o.z() + R;
        const double a = ray.x() * ray.x() + ray.z() * ray.z(), b = ox * ray.x() + oz * ray.z(), c = ox * ox + oz * oz - R * R;
        const double d = b * b - a * c;
        map_x.at<float>(y, x) = -1e4F, map_y.at<float>(y, x) = -1e4F;
        if (d < 0) continue;
        const double s = (-b + std::sqrt(d)) / a;
        const Eigen::Vector3d p = o + s * ray;
        const double arc = std::atan2(p.x() - w / 2, p.z() + R) * R + w / 2;
        map_x.at<float>(y, x) = static_cast<float>(arc * px_per_mm - 0.5);
        map_y.at<float>(y, x) = static_cast<float>(p.y() * px_per_mm - 0.5);
      }
    cv::remap(print, large, map_x, map_y, cv::INTER_LINEAR, cv::BORDER_CONSTANT, cv::Scalar::all((view.ground - view.dark) / view.contrast));
  } else {
    Eigen::Matrix3d mm_from_print, large_from_image;
    mm_from_print << 1 / px_per_mm, 0, 0.5 / px_per_mm, 0, 1 / px_per_mm, 0.5 / px_per_mm, 0, 0, 1;
    large_from_image << over, 0, 0.5 * over - 0.5, 0, over, 0.5 * over - 0.5, 0, 0, 1;
    const Eigen::Matrix3d all = large_from_image * image_from_mm * mm_from_print;
    cv::Mat m(3, 3, CV_64F);
    for (int i = 0; i < 9; ++i) m.at<double>(i / 3, i % 3) = all(i / 3, i % 3);
    // A print far finer than the large picture is softened first, or it would alias.
    cv::Mat soft = print;
    const double fine = px_per_mm / (view.focal_px / view.distance_mm * over);
    if (fine > 1.2) cv::GaussianBlur(print, soft, {}, 0.4 * fine);
    cv::warpPerspective(soft, large, m, {W, H}, cv::INTER_LINEAR, cv::BORDER_CONSTANT, cv::Scalar::all((view.ground - view.dark) / view.contrast));
  }
  cv::Mat small;
  cv::resize(large, small, {view.width, view.height}, 0, 0, cv::INTER_AREA);
  cv::Mat f;
  small.convertTo(f, CV_32F, view.contrast, view.dark);
  if (view.blur_px > 0) cv::GaussianBlur(f, f, {}, view.blur_px);
  if (view.noise > 0) {
    cv::RNG rng(view.seed);
    cv::Mat n(f.size(), f.type());
    rng.fill(n, cv::RNG::NORMAL, 0, view.noise);
    f += n;
  }
  f.convertTo(out.bgr, CV_8U);
  return out;
}

double area_ratio(const scale::PlaneMap& map, const FlatPhoto& photo, double x_mm, double y_mm, double radius_mm) {
  constexpr int corners = 180;
  ImageOutline seen;
  PlaneOutline real;
  seen.parts.emplace_back();
  real.parts.emplace_back();
  for (int i = 0; i < corners; ++i) {
    const double a = 2 * std::numbers::pi * i / corners;
    const PlanePoint p{x_mm + radius_mm * std::cos(a), y_mm + radius_mm * std::sin(a)};
    real.parts[0].outer.push_back(p);
    seen.parts[0].outer.push_back(photo.image_from_print(p));
  }
  return area(map.to_plane(seen)) / area(real);
}

}  // namespace uroko::testing
