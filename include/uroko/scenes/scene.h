#pragma once
#include <Eigen/Core>
#include <array>
#include <cstdint>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "uroko/bed/bed.h"
#include "uroko/geometry/polygon.h"
#include "uroko/scale/camera.h"
#include "uroko/scale/plane_map.h"

/// Photos of a koi's ulcer whose true geometry is known exactly. What lies before the camera (Scene) and what the sensor does to it
/// (Noise) are apart, so that a test can vary one and keep the other.
namespace uroko::scenes {

/// The skin is a developable surface, unrolled into millimetres: x along the fish (head at the left), s around it from the lateral midline
/// towards the belly. A flat body has s = y.
struct SkinPoint {
  double x = 0, s = 0;
};

/// One ulcer: r(theta) = radius (1 + sum a_k cos(k theta + phi_k)), then stretched by sqrt(elongation) along `turn_deg` and
/// squeezed as much across, which keeps its area.
struct Ulcer {
  struct Harmonic {
    int k = 2;
    double amplitude = 0, phase = 0;
  };
  SkinPoint centre;
  double radius_mm = 10;
  double elongation = 1;
  double turn_deg = 0;
  std::vector<Harmonic> harmonics;
  /// Shares of the bed that show slough, necrotic and pale tissue; the rest is granulation.
  double slough = 0.25, necrotic = 0.05, pale = 0.12;
  double rim_mm = 4;           ///< how far the reddening reaches outward
  double rim_strength = 0.55;  ///< 0..1
  double depth_mm = 1.2;       ///< how far the bed lies below the edge (shading only; the margin lies on the skin)
  std::uint64_t seed = 1;      ///< of the bed's texture
};
/// An irregular ulcer of harmonics 2..8 drawn from the seed; `roughness` is the RMS of the radius as a share (0.1: common).
Ulcer irregular_ulcer(SkinPoint centre, double radius_mm, double roughness, std::uint64_t seed);

/// Exact: pi radius^2 (1 + 1/2 sum a_k^2).
double area_mm2(const Ulcer& ulcer);
/// Trapezoid rule on the periodic arc length (spectral accuracy).
double perimeter_mm(const Ulcer& ulcer);
/// The margin on the unrolled skin, `points` of equal theta.
std::vector<SkinPoint> margin(const Ulcer& ulcer, int points = 720);
/// Below 1 inside the margin, above 1 outside (share of the radius at that angle).
double level(const Ulcer& ulcer, const SkinPoint& p);

/// Elliptic cross section: half-height depth / 2 (dorsal to ventral), half-width width / 2 (left to right).
struct Flank {
  double depth_mm = 160, width_mm = 104;
};

struct CardPlacement {
  SkinPoint centre{-70, 0};  ///< the card touches the skin here, tangent to it
  double turn_deg = 0;
  double offset_mm = 0;    ///< raised towards the camera along the skin's normal
  double wedge_deg = 0;    ///< leaning about its long side
  double lean_deg = 0;     ///< and about its short side
  double slide_mm = 0;     ///< touching the skin that far below its middle, on the card: the card is moved up by it within its plane
  double print_scale = 1;  ///< printed size / nominal size
};

/// The koi's coat: white ground, red and black patches by thresholds of slow noise.
struct Coat {
  double red = 0.30, black = 0.08;  ///< shares of the skin, roughly
  double scale_pitch_mm = 11;
  std::uint64_t seed = 11;
};

struct Light {
  Eigen::Vector3d towards{-0.45, -0.6, -1.0};  ///< from the skin to the lamp, body axes (x to the tail, y to the belly, -z out of the skin)
  double ambient = 0.5;                        ///< share of light from everywhere
  double uneven = 0.12;                        ///< fall-off across the frame, share of the middle's light
  std::array<double, 3> cast_rgb{1, 1, 1};     ///< colour cast, gains in linear light
  double exposure = 1;
  double glare = 1;  ///< wet highlights; 0: a dry fish
};

struct View {
  scale::Camera camera;  ///< its distortion is applied exactly; needs a focal length
  int width_px = 1600, height_px = 1200;
  SkinPoint aim;             ///< seen at the principal point
  double distance_mm = 300;  ///< from the camera to the aim
  double tilt_deg = 0;       ///< between the optical axis and the skin's normal at the aim
  double azimuth_deg = 0;    ///< the skin's side that tilts away: 0 tail, 90 belly
  double roll_deg = 0;
};
/// A pinhole of that focal length in pixels, principal point in the middle, pixel centres at integers.
scale::Camera pinhole(int width_px, int height_px, double focal_px, double k1 = 0, double k2 = 0, double p1 = 0, double p2 = 0);

enum class Detail {
  full,  ///< skin, scales, bed, glare
  plain  ///< one flat colour each for skin, bed and background: geometry only
};

struct Scene {
  std::optional<Flank> flank;  ///< none: flat skin
  Coat coat;
  std::optional<Ulcer> ulcer = Ulcer{};
  std::optional<CardPlacement> card = CardPlacement{};
  Light light;
  View view;
  Detail detail = Detail::full;
};

struct Noise {
  double blur_px = 0.8;   ///< Gaussian point spread, sigma
  double grain = 2;       ///< sensor noise, standard deviation in 8-bit counts
  int jpeg_quality = 92;  ///< 1..100; 0: no compression
  std::uint64_t seed = 1;
};

/// What is true of the scene, without rendering it.
struct Truth {
  ImageOutline outline;                        ///< photo pixels, through the lens
  double area_mm2 = 0, perimeter_mm = 0;       ///< on the skin's surface
  std::array<double, bed::kTissues> shares{};  ///< by bed::Tissue; unsure and glare are 0; all 0 in a plain scene
  double wrap_deg = 0;                         ///< largest angle of the flank's normal at the margin to the mid-flank's (0 on a flat body)
  std::vector<ImagePoint> card_corners;        ///< top left, top right, bottom right, bottom left
  scale::Pose card_pose;                       ///< of the card's nominal millimetres
  std::pair<ImagePoint, ImagePoint> midline;   ///< two pixels on the lateral midline (s = 0)
};
/// Throws std::invalid_argument when the margin or the card does not lie wholly on the visible side, before the camera.
Truth truth_of(const Scene& scene);

/// One skin point in the photo; nothing when the camera does not see that side.
std::optional<ImagePoint> pixel_of(const Scene& scene, const SkinPoint& p);
/// The skin under a pixel (a card above it is ignored); nothing on the background.
std::optional<SkinPoint> skin_at(const Scene& scene, const ImagePoint& pixel);
/// The same for every pixel of a box (empty: the whole photo): CV_64FC2 (x, s), NaN on the background.
cv::Mat skin_map(const Scene& scene, const cv::Rect& box = {});
/// Where a point of the card (nominal mm from its top left corner) is seen.
ImagePoint pixel_of_card(const Scene& scene, const PlanePoint& p);

/// The photo, 8-bit BGR in sRGB. `box`: only these pixels (the sensor's noise then differs from the whole photo's); empty: all of it.
cv::Mat render(const Scene& scene, const Noise& noise, const cv::Rect& box = {});
/// bed::Tissue at every pixel of the box, 255 outside the wound or under the card.
cv::Mat render_tissue(const Scene& scene, const cv::Rect& box = {});

}  // namespace uroko::scenes
