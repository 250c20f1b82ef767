#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/core/utility.hpp>
#include <opencv2/imgproc.hpp>

#include "field.h"
#include "skin.h"
#include "solid.h"
#include "uroko/photo/photo.h"
#include "uroko/report/card_print.h"
#include "uroko/scale/card.h"

namespace uroko::scenes {

namespace {

constexpr int kFine = 4;            // sub-pixels a side where an edge runs through the pixel
constexpr double kCardRaster = 20;  // px/mm; the layout's edges fall on whole raster pixels

double encode(double linear) { return linear <= 0.0031308 ? 12.92 * linear : 1.055 * std::pow(linear, 1 / 2.4) - 0.055; }

/// sRGB of linear light in 8-bit counts, not rounded. Table of 1/8192 steps, interpolated.
double encoded_counts(float linear) {
  static const std::vector<float> table = [] {
    std::vector<float> t(8194);
    for (std::size_t i = 0; i < t.size(); ++i) t[i] = static_cast<float>(255 * encode(static_cast<double>(i) / 8192));
    return t;
  }();
  const float at = std::clamp(linear, 0.0f, 1.0f) * 8192;
  const auto i = static_cast<std::size_t>(at);
  return table[i] + (at - static_cast<float>(i)) * (table[i + 1] - table[i]);
}

/// The card's face at `kCardRaster`, sRGB counts: a quarter of the memory of its light, of which most of the time went.
const cv::Mat& card_face() {
  static const cv::Mat face = [] {
    cv::Mat grey = report::card_picture(kCardRaster);
    if (grey.channels() != 1) cv::extractChannel(grey, grey, 1);
    return grey;
  }();
  return face;
}

double light_of(uchar counts) {
  static const std::array<double, 256> table = [] {
    std::array<double, 256> t{};
    for (std::size_t k = 0; k < t.size(); ++k) {
      const double v = static_cast<double>(k) / 255;
      t[k] = v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4);
    }
    return t;
  }();
  return table[counts];
}

/// How far each place of the card's face is from a printed edge, whole raster pixels (not more than it is, 255 at the most): away from edges one
/// look at a pixel is enough.
const cv::Mat& card_calm() {
  static const cv::Mat calm = [] {
    const cv::Mat& face = card_face();
    cv::Mat low, high, distance, whole;
    cv::dilate(face, high, cv::Mat());
    cv::erode(face, low, cv::Mat());
    cv::distanceTransform(high == low, distance, cv::DIST_L2, 5);
    cv::Mat(distance - 0.5).convertTo(whole, CV_8U);
    return whole;
  }();
  return calm;
}

class Painter {
 public:
  Painter(const Scene& scene, bool looks)
      : scene_(scene), solid_(scene), skin_(scene, looks), layout_(scale::card_layout()), mm_per_px_(scene.view.distance_mm / scene.view.camera.fx),
        towards_(scene.light.towards.normalized()), window_(Eigen::Vector3d(0.55, -0.15, -0.9).normalized()) {
    if (scene.card) card_calm();
    if (scene.ulcer) {
      // Steepest change of the level per mm: d rho / R and rho dR / R^2, at the margin and with room inside and outside of it.
      double slope = 0;
      const auto& u = *scene.ulcer;
      const auto ring = margin(u, 360);
      for (const auto& p : ring)
        for (const double share : {0.8, 1.0, 1.2}) {
          const SkinPoint at{u.centre.x + share * (p.x - u.centre.x), u.centre.s + share * (p.s - u.centre.s)};
          constexpr double e = 1e-4;
          slope = std::max(slope, std::hypot(level(u, {at.x + e, at.s}) - level(u, {at.x - e, at.s}), level(u, {at.x, at.s + e}) - level(u, {at.x, at.s - e})) / (2 * e));
        }
      level_slope_ = slope;
    }
  }

  /// Linear light of the pixels of `box`.
  cv::Mat paint(const cv::Rect& box) const {
    cv::Mat out(box.size(), CV_32FC3);
    constexpr int kStripe = 32;
    const int stripes = (box.height + kStripe - 1) / kStripe;
    cv::parallel_for_(cv::Range(0, stripes), [&](const cv::Range& range) {
      for (int stripe = range.start; stripe < range.end; ++stripe)
        paint_rows(box, stripe * kStripe, std::min(box.height, (stripe + 1) * kStripe), out);
    });
    return out;
  }

  cv::Mat tissue(const cv::Rect& box) const {
    cv::Mat out(box.size(), CV_8U, cv::Scalar(255));
    if (!scene_.ulcer) return out;
    cv::parallel_for_(cv::Range(0, box.height), [&](const cv::Range& range) {
      for (int y = range.start; y < range.end; ++y)
        for (int x = 0; x < box.width; ++x) {
          const auto ray = solid_.ray({static_cast<double>(box.x + x), static_cast<double>(box.y + y)});
          if (on_card(ray)) continue;
          const auto p = solid_.skin_hit(ray);
          if (p && near_ulcer(*p) && level(*scene_.ulcer, *p) < 1) out.at<uchar>(y, x) = static_cast<uchar>(skin_.tissue(*p));
        }
    });
    return out;
  }

 private:
  bool near_ulcer(const SkinPoint& p) const {
    if (!scene_.ulcer) return false;
    const double dx = p.x - scene_.ulcer->centre.x, ds = p.s - scene_.ulcer->centre.s, reach = skin_.largest_radius() + 1;
    return dx * dx + ds * ds < reach * reach;
  }
  /// How far outside the card's edge, nominal mm (negative inside).
  double outside(const PlanePoint& c) const {
    const double dx = std::max(-c.x, c.x - layout_.width_mm), dy = std::max(-c.y, c.y - layout_.height_mm);
    return dx > 0 && dy > 0 ? std::hypot(dx, dy) : std::max(dx, dy);
  }
  std::optional<PlanePoint> on_card(const Eigen::Vector3d& ray) const {
    const auto c = solid_.card_hit(ray);
    return c && outside(*c) < 0 ? c : std::nullopt;
  }

  Eigen::Vector3d lit(const Rgb& albedo, const Eigen::Vector3d& out, const Eigen::Vector3d& view, double gloss, double roughness) const {
    const auto& light = scene_.light;
    const double lambert = std::max(0.0, out.dot(towards_)) / towards_.dot(-Eigen::Vector3d::UnitZ());
    Eigen::Vector3d sum = albedo * (light.ambient * (0.55 - 0.45 * out.z()) + (1 - light.ambient) * lambert);
    if (light.glare > 0 && gloss > 0) {
      const double a = std::max(0.0, out.dot((towards_ + view).normalized())), b = std::max(0.0, out.dot((window_ + view).normalized()));
      const double sharp = std::pow(a, 700 / roughness) * 2.2 + std::pow(b, 900 / roughness) * 0.9, sheen = 0.07 * std::pow(a, 40 / roughness);
      sum.array() += light.glare * gloss * (sharp + sheen);
    }
    return sum;
  }

  Eigen::Vector3d skin_light(const SkinPoint& p, const Eigen::Vector3d& ray) const {
    if (scene_.detail == Detail::plain) {
      const bool inside = near_ulcer(p) && level(*scene_.ulcer, p) < 1;
      return inside ? Rgb(0.15, 0.15, 0.15) : Rgb(0.8, 0.8, 0.8);
    }
    const auto frame = solid_.frame(p);
    const Surface surface = skin_.at(p);
    const Eigen::Vector3d out = (-frame.inward + surface.slope_x * frame.along + surface.slope_s * frame.around).normalized();
    Eigen::Vector3d sum = lit(surface.albedo, out, -ray.normalized(), surface.gloss, surface.roughness);
    if (scene_.card) {
      // The card's own soft shadow.
      if (const auto c = solid_.card_hit(ray)) {
        const double d = outside(*c);
        if (d > 0 && d < 8) sum *= 1 - 0.38 * std::exp(-d / (1.2 + 0.3 * std::abs(scene_.card->offset_mm)));
      }
    }
    return sum;
  }

  Eigen::Vector3d background(const Eigen::Vector3d& ray) const {
    if (scene_.detail == Detail::plain) return {0.5, 0.5, 0.5};
    // A wet towel below the fish.
    const double depth = scene_.flank ? scene_.flank->width_mm * 0.9 : 40, k = (depth - solid_.eye().z()) / std::max(0.05, ray.z());
    const double x = solid_.eye().x() + k * ray.x(), y = solid_.eye().y() + k * ray.y();
    static const Rgb kTowel = linear_rgb(92, 118, 128);
    double shade = 0.75 + 0.25 * octaves(x / 30, y / 30, 77, 3) + 0.18 * field(x / 0.9, y / 0.9, 78) + 0.12 * field(x / 2.3, y / 1.1, 79);
    if (scene_.flank) shade *= 0.35 + 0.65 * step_between(0, 60, std::abs(y) - scene_.flank->depth_mm / 2);
    return kTowel * std::max(0.05, shade);
  }

  Eigen::Vector3d look(const Eigen::Vector3d& ray, const std::optional<PlanePoint>& c) const {
    if (c && outside(*c) < 0) {
      const auto& face = card_face();
      const int x = std::clamp(static_cast<int>(c->x * kCardRaster), 0, face.cols - 1),
                y = std::clamp(static_cast<int>(c->y * kCardRaster), 0, face.rows - 1);
      const double grey = light_of(face.at<uchar>(y, x));
      if (scene_.detail == Detail::plain) return Rgb(1, 1, 1) * (0.03 + 0.87 * grey);
      // Ink is not black and board is not pure white.
      const Eigen::Vector3d out = -solid_.card_normal();
      return lit(Rgb(1, 1, 1) * (0.018 + 0.90 * grey), out, -ray.normalized(), 0.0, 1);
    }
    if (const auto p = solid_.skin_hit(ray)) return skin_light(*p, ray);
    return background(ray);
  }

  /// `c`: where the ray meets the card's plane.
  bool edge_runs_here(const Eigen::Vector3d& ray, const std::optional<PlanePoint>& c, const Eigen::Vector3d& dx, const Eigen::Vector3d& dy) const {
    if (c && outside(*c) < 2.5 * mm_per_px_) {
      const auto p = solid_.card_hit(ray + dx + dy);
      if (!p) return true;
      const double dx_mm = p->x - c->x, dy_mm = p->y - c->y, reach = 1.5 * std::sqrt(dx_mm * dx_mm + dy_mm * dy_mm) + 1.5 / kCardRaster;
      if (outside(*c) > -reach) return true;
      return card_calm().at<uchar>(static_cast<int>(c->y * kCardRaster), static_cast<int>(c->x * kCardRaster)) < reach * kCardRaster;
    }
    const auto p = solid_.skin_hit(ray);
    if (!p)
      return static_cast<bool>(solid_.skin_hit(ray + dx) || solid_.skin_hit(ray + dy) || solid_.skin_hit(ray - dx) || solid_.skin_hit(ray - dy));
    if (!near_ulcer(*p)) return false;
    const double l = level(*scene_.ulcer, *p);
    // Five pixels as seen square on are further than a diagonal neighbour lies, seen at up to 70 degrees.
    const double near = 5 * mm_per_px_ * level_slope_;
    if (scene_.detail == Detail::plain && near < 0.2 && std::abs(l - 1) > near) return false;
    const auto differs = [&](const Eigen::Vector3d& other) {
      const auto q = solid_.skin_hit(other);
      return !q || (level(*scene_.ulcer, *q) < 1) != (l < 1);
    };
    return differs(ray + dx + dy) || differs(ray + dx - dy) || differs(ray - dx + dy) || differs(ray - dx - dy);
  }

  void paint_rows(const cv::Rect& box, int from, int to, cv::Mat& out) const {
    const auto& light = scene_.light;
    const double w = scene_.view.width_px, h = scene_.view.height_px;
    const double cast[3] = {light.cast_rgb[0] * light.exposure, light.cast_rgb[1] * light.exposure, light.cast_rgb[2] * light.exposure};
    // Rays at pixel centres with one more on each side; between them they are straight enough (second differences below 1e-9 a pixel), so that
    // every fourth is found through the lens and the others lie between (off by 2e-9, 5e-6 px).
    constexpr int kLeap = 4;
    const int stride = box.width + 2;
    std::vector<Eigen::Vector3d> rays(static_cast<std::size_t>(stride) * static_cast<std::size_t>(to - from + 2));
    for (int y = from - 1; y <= to; ++y) {
      Eigen::Vector2d bend(0, 0);
      auto* row = rays.data() + (y - from + 1) * stride;
      const auto through_lens = [&](int i) { return solid_.ray({static_cast<double>(box.x + i - 1), static_cast<double>(box.y + y)}, bend); };
      row[0] = through_lens(0);
      for (int last = 0; last < stride - 1;) {
        const int next = std::min(last + kLeap, stride - 1);
        row[next] = through_lens(next);
        for (int i = last + 1; i < next; ++i) row[i] = row[last] + (row[next] - row[last]) * (static_cast<double>(i - last) / (next - last));
        last = next;
      }
    }
    for (int y = from; y < to; ++y)
      for (int x = 0; x < box.width; ++x) {
        const auto at = static_cast<std::size_t>((y - from + 1) * stride + x + 1);
        const Eigen::Vector3d &ray = rays[at], dx = (rays[at + 1] - rays[at - 1]) / 2;
        const Eigen::Vector3d dy = (rays[at + static_cast<std::size_t>(stride)] - rays[at - static_cast<std::size_t>(stride)]) / 2;
        Eigen::Vector3d sum = Eigen::Vector3d::Zero();
        const auto card = solid_.card_hit(ray);
        if (edge_runs_here(ray, card, dx, dy)) {
          for (int j = 0; j < kFine; ++j)
            for (int i = 0; i < kFine; ++i) {
              const Eigen::Vector3d fine = ray + dx * ((i + 0.5) / kFine - 0.5) + dy * ((j + 0.5) / kFine - 0.5);
              sum += look(fine, solid_.card_hit(fine));
            }
          sum /= kFine * kFine;
        } else {
          sum = look(ray, card);
        }
        const double u = (box.x + x - w / 2) / w, v = (box.y + y - h / 2) / w;
        const double even = 1 - light.uneven * (0.9 * u + 0.6 * v) - 1.2 * light.uneven * (u * u + v * v);
        auto& pixel = out.at<cv::Vec3f>(y, x);
        for (int k = 0; k < 3; ++k) pixel[2 - k] = static_cast<float>(std::max(0.0, sum[k] * cast[k] * even));
      }
  }

  const Scene& scene_;
  Solid solid_;
  Skin skin_;
  const scale::CardLayout& layout_;
  double mm_per_px_, level_slope_ = 0;
  Eigen::Vector3d towards_, window_;
};

cv::Rect whole_or(const Scene& scene, const cv::Rect& box) {
  const cv::Rect whole(0, 0, scene.view.width_px, scene.view.height_px);
  return box.empty() ? whole : box & whole;
}

}  // namespace

cv::Mat render(const Scene& scene, const Noise& noise, const cv::Rect& box) {
  const cv::Rect wanted = whole_or(scene, box);
  const int pad = noise.blur_px > 0 ? static_cast<int>(std::ceil(4 * noise.blur_px)) : 0;
  const cv::Rect padded(wanted.x - pad, wanted.y - pad, wanted.width + 2 * pad, wanted.height + 2 * pad);
  cv::Mat linear = Painter(scene, scene.detail == Detail::full).paint(padded);
  if (noise.blur_px > 0) cv::GaussianBlur(linear, linear, cv::Size(2 * pad + 1, 2 * pad + 1), noise.blur_px, noise.blur_px, cv::BORDER_REPLICATE);
  linear = linear(cv::Rect(pad, pad, wanted.width, wanted.height));

  cv::Mat bgr(wanted.size(), CV_8UC3);
  cv::parallel_for_(cv::Range(0, bgr.rows), [&](const cv::Range& range) {
    cv::Mat grain(1, 3 * bgr.cols, CV_32F);
    for (int y = range.start; y < range.end; ++y) {
      cv::RNG random(noise.seed * 0x9E3779B97F4A7C15ull + static_cast<std::uint64_t>(y + 1) * 0xD1B54A32D192ED03ull);
      if (noise.grain > 0)
        random.fill(grain, cv::RNG::NORMAL, 0, noise.grain);
      else
        grain.setTo(0);
      const auto* in = linear.ptr<float>(y);
      auto* to = bgr.ptr<uchar>(y);
      const auto* g = grain.ptr<float>(0);
      for (int x = 0; x < 3 * bgr.cols; ++x) to[x] = cv::saturate_cast<uchar>(encoded_counts(in[x]) + g[x]);
    }
  });
  if (noise.jpeg_quality > 0) bgr = photo::load_bytes(photo::encode_jpeg(bgr, noise.jpeg_quality), "render.jpg").bgr;
  return bgr;
}

cv::Mat skin_map(const Scene& scene, const cv::Rect& box) {
  const cv::Rect wanted = whole_or(scene, box);
  const Solid solid(scene);
  cv::Mat out(wanted.size(), CV_64FC2, cv::Scalar::all(std::numeric_limits<double>::quiet_NaN()));
  for (int y = 0; y < out.rows; ++y)
    for (int x = 0; x < out.cols; ++x)
      if (const auto p = solid.skin_hit(solid.ray({static_cast<double>(wanted.x + x), static_cast<double>(wanted.y + y)})))
        out.at<cv::Vec2d>(y, x) = {p->x, p->s};
  return out;
}

cv::Mat render_tissue(const Scene& scene, const cv::Rect& box) { return Painter(scene, true).tissue(whole_or(scene, box)); }

}  // namespace uroko::scenes
