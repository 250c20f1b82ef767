#pragma once
#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <vector>

#include "margin/chain.h"
#include "uroko/geometry/polygon.h"

namespace uroko::margin {

/// How the neighbourhood of a ring is unwrapped into (place along the ring) x (depth below it). Lengths in radii of the ring.
struct RayOptions {
  double outside;  ///< how far outside the ring the margin may lie
  double inside;   ///< and how far inside
  int states;      ///< places tried along a ray
  double spacing;  ///< between rays
  double wound_below, wound_share;  ///< surely wound: deeper below the ring than the lesser of this and of that share of the deepest
  double skin_from, skin_to;        ///< surely skin: depths between these, above the ring negative
};
constexpr RayOptions kWideRays{0.06, 0.74, 57, 0.045, 0.42, 0.6, 0.02, -0.35};  ///< from a rough loop
constexpr RayOptions kCloseRays{0.22, 0.22, 45, 0.03, 0.12, 0.4, -0.1, -0.45};  ///< about a margin that is nearly right

/// What is known of the colours before the margin is.
struct Evidence {
  cv::Mat lab;            ///< CV_8UC3, slightly smoothed
  cv::Mat odds;           ///< CV_32F, log-odds of a colour being the wound's
  cv::Vec3f wound, skin;  ///< mean colours of what is surely one or the other
};
/// `inside`, `outside`: CV_32F weights of what is surely wound and surely skin.
Evidence evidence_of(const cv::Mat& lab, const cv::Mat& inside, const cv::Mat& outside);

/// The unwrapped neighbourhood: colours along rays that run inward from the ring. State k of a ray is the boundary between its cells k - 1 and k.
struct Rays {
  int n = 0, m = 0;                  ///< rays, states
  double unit_px = 1, spacing_px = 1, from_px = 0, radius_px = 1;
  Ring<ImagePoint> ring;
  std::vector<Eigen::Vector2d> inward;
  std::vector<int> limit;      ///< states from which on another part of the ring is nearer
  std::vector<char> on_frame;  ///< the ring runs along the picture's rim here: there is no outside to see
  std::vector<Grid> channels;  ///< L*, a*, b*, log-odds, whether it lies in the picture; a few cells more than states on either side
  cv::Vec3f wound, skin;
  double depth_px(double state) const { return from_px + state * unit_px; }
  ImagePoint at(int ray, double state) const {
    const auto u = static_cast<std::size_t>(ray);
    return {ring[u].x + depth_px(state) * inward[u].x(), ring[u].y + depth_px(state) * inward[u].y()};
  }
};
/// `depth_px`: CV_32F, distance of each pixel below the ring.
Rays unwrap(const Evidence& evidence, const cv::Mat& depth_px, const Ring<ImagePoint>& ring, const RayOptions& options);

/// A column of features a state, ray by ray; of the `wanted` rays only (one flag a ray) when given.
Eigen::MatrixXf features_of(const Rays& rays, const std::vector<char>* wanted = nullptr);
int feature_count();

/// A net of one hidden layer: score = v . max(0, W f + b); the margin's place along a ray has the probability exp(score) / sum.
struct RayModel {
  Eigen::MatrixXf w;
  Eigen::VectorXf b, v;
};
/// Fitted by bench_margin_fit on rendered koi; see assets/guide/margins.md.
const RayModel& wide_model();
const RayModel& close_model();

Eigen::VectorXf scores(const RayModel& model, const Eigen::MatrixXf& features);
/// The same for all states of all rays, 0 where a ray is not `wanted`: its features are not looked at.
Eigen::VectorXf scores_where(const RayModel& model, const Rays& rays, const std::vector<char>& wanted);

/// The margin as the cheapest closed path through the rays.
struct RayMargin {
  Ring<ImagePoint> ring;
  std::vector<double> doubt_px;  ///< the posterior's standard deviation
  std::vector<double> state;     ///< the place along each ray
  double clarity = 0;            ///< mean log-probability of the path's places against an even spread: how clear the margin is all round
};
RayMargin follow(const Rays& rays, const Eigen::VectorXf& scores, double stiffness, double sharpness);

/// How stiff the path is and how far the net's word is believed: neighbouring rays see much the same.
constexpr double kWideStiffness = 1.2, kCloseStiffness = 1.2, kSharpness = 0.7;

/// `ring` in pixels of `lab` (CV_8UC3, slightly smoothed).
Rays rays_about(const cv::Mat& lab, const Ring<ImagePoint>& ring, const RayOptions& options);

}  // namespace uroko::margin
