// The skin's pattern on the reference's plane: the photo rectified to a few pixels a millimetre, and what stands out in it (SIFT: Lowe 2004,
// IJCV 60:91; square root of the L1-normalised descriptor: Arandjelovic & Zisserman 2012, CVPR).
#include <algorithm>
#include <cmath>
#include <exception>
#include <atomic>
#include <numbers>
#include <opencv2/features2d.hpp>
#include <opencv2/imgproc.hpp>
#include <thread>

#include "uroko/geometry/polygon.h"
#include "uroko/measure/skin_match.h"
#include "uroko/photo/photo.h"

namespace uroko::measure {

namespace {

struct Box {
  double x0 = INFINITY, y0 = INFINITY, x1 = -INFINITY, y1 = -INFINITY;
  void take(const PlanePoint& p) {
    if (!std::isfinite(p.x) || !std::isfinite(p.y)) return;
    x0 = std::min(x0, p.x), y0 = std::min(y0, p.y), x1 = std::max(x1, p.x), y1 = std::max(y1, p.y);
  }
  double width() const { return x1 - x0; }
  double height() const { return y1 - y0; }
};

/// Where the middle of raster pixel (column, row) is looked up in `bgr`, exact on a coarse grid and linear between.
cv::Mat lookup(const Box& box, double px_per_mm, cv::Size size, const scale::PlaneMap& map, double scale) {
  constexpr int kStep = 16;
  const int columns = (size.width - 1) / kStep + 2, rows = (size.height - 1) / kStep + 2;
  cv::Mat_<cv::Point2f> coarse(rows, columns);
  for (int j = 0; j < rows; ++j)
    for (int i = 0; i < columns; ++i) {
      const auto p = map.to_image({box.x0 + (i * kStep + 0.5) / px_per_mm, box.y0 + (j * kStep + 0.5) / px_per_mm});
      coarse(j, i) = {static_cast<float>((p.x + 0.5) * scale - 0.5), static_cast<float>((p.y + 0.5) * scale - 0.5)};
    }
  cv::Mat_<cv::Point2f> out(size);
  for (int y = 0; y < size.height; ++y) {
    const int j = y / kStep;
    const float v = static_cast<float>(y % kStep) / kStep;
    for (int x = 0; x < size.width; ++x) {
      const int i = x / kStep;
      const float u = static_cast<float>(x % kStep) / kStep;
      out(y, x) = (coarse(j, i) * (1 - u) + coarse(j, i + 1) * u) * (1 - v) + (coarse(j + 1, i) * (1 - u) + coarse(j + 1, i + 1) * u) * v;
    }
  }
  return out;
}

}  // namespace

SkinPattern read_skin(const cv::Mat& bgr, double scale, const scale::PlaneMap& map, const ImageOutline& outline, const SkinOptions& options) {
  SkinPattern out;
  const double width = bgr.cols / scale, height = bgr.rows / scale;
  // What of the plane the photo shows; not the far side of a strong tilt.
  Box seen;
  const ImagePoint centre{width / 2, height / 2};
  for (int i = 0; i <= 8; ++i)
    for (const auto& p : {ImagePoint{width * i / 8, 0}, ImagePoint{width * i / 8, height}, ImagePoint{0, height * i / 8}, ImagePoint{width, height * i / 8}}) seen.take(map.to_plane(p));
  Box box;
  PlaneOutline margin;
  if (!outline.empty()) {
    margin = map.to_plane(outline);
    out.middle = centroid(margin);
    out.radius_mm = std::max(1.0, std::sqrt(area(margin) / std::numbers::pi));
    for (const auto& part : margin.parts)
      for (const auto& p : part.outer) box.take(p);
  } else {
    out.middle = map.to_plane(centre);
    box.take({out.middle.x - 30, out.middle.y - 30});
    box.take({out.middle.x + 30, out.middle.y + 30});
  }
  const double reach = std::clamp(options.reach_mm, 10.0, 100.0);
  box = {std::max(box.x0 - reach, seen.x0), std::max(box.y0 - reach, seen.y0), std::min(box.x1 + reach, seen.x1), std::min(box.y1 + reach, seen.y1)};
  if (map.kind == scale::Kind::ruler && map.reference_mm.size() >= 2) out.bound_from = map.reference_mm.front(), out.bound_to = map.reference_mm.back();
  if (map.kind == scale::Kind::board && map.reference_mm.size() >= 3) out.bound_from = map.reference_mm[0], out.bound_to = map.reference_mm[2];
  const auto at = map.to_image(out.middle);
  const double mm_per_px = map.mm_per_px(at);
  if (!(box.width() > 10) || !(box.height() > 10) || !(mm_per_px > 0)) return out;
  out.photo_px_per_mm = 1 / mm_per_px;
  const double s = std::clamp(std::min(options.px_per_mm, scale / mm_per_px), 1.0, 16.0);
  const cv::Size size(static_cast<int>(std::min(3000.0, box.width() * s)), static_cast<int>(std::min(3000.0, box.height() * s)));
  const auto where = lookup(box, s, size, map, scale);

  // Fewer pixels than the photo has: averaged first, as a lens would.
  cv::Mat source = bgr;
  if (const double shrink = scale / mm_per_px / s; shrink > 1.3) cv::GaussianBlur(bgr, source, {}, 0.4 * shrink);
  cv::Mat flat, grey;
  cv::remap(source, flat, where, cv::Mat(), cv::INTER_LINEAR, cv::BORDER_REPLICATE);
  // Lightness without the lamp's fall-off and cast.
  cv::cvtColor(flat, grey, cv::COLOR_BGR2GRAY);
  cv::createCLAHE(3.0, {8, 8})->apply(grey, grey);

  cv::Mat mask(size, CV_8U, cv::Scalar(255));
  for (int y = 0; y < size.height; ++y)
    for (int x = 0; x < size.width; ++x) {
      const auto& p = where.at<cv::Point2f>(y, x);
      if (p.x < 1 || p.y < 1 || p.x > static_cast<float>(bgr.cols - 2) || p.y > static_cast<float>(bgr.rows - 2)) mask.at<uchar>(y, x) = 0;
    }
  const auto to_raster = [&](const PlanePoint& p) { return cv::Point(static_cast<int>(std::lround((p.x - box.x0) * s - 0.5)), static_cast<int>(std::lround((p.y - box.y0) * s - 0.5))); };
  const auto leave_out = [&](const Ring<PlanePoint>& ring, double spare_mm) {
    std::vector<cv::Point> raster;
    for (const auto& p : ring) raster.push_back(to_raster(p));
    if (raster.size() < 2) return;
    if (raster.size() > 2) cv::fillPoly(mask, std::vector<std::vector<cv::Point>>{raster}, cv::Scalar(0));
    cv::polylines(mask, raster, raster.size() > 2, cv::Scalar(0), std::clamp(static_cast<int>(2 * spare_mm * s), 1, 2000));
  };
  for (const auto& part : margin.parts) leave_out(part.outer, options.spare_mm);
  if (map.kind == scale::Kind::ruler && map.reference_mm.size() >= 2) {
    // The picks lie somewhere on a ruler that is longer and, commonly, up to 30 mm broad, on either side of them.
    auto a = map.reference_mm.front(), b = map.reference_mm.back();
    const double l = std::max(1e-9, distance(a, b)), ux = (b.x - a.x) / l, uy = (b.y - a.y) / l;
    a = {a.x - 200 * ux, a.y - 200 * uy}, b = {b.x + 200 * ux, b.y + 200 * uy};
    leave_out({a, b}, 15);
  } else if (map.kind != scale::Kind::board || !contains(PlaneOutline{{{map.reference_mm, {}}}}, out.middle)) {
    leave_out(map.reference_mm, 3);
  }
  // Wet highlights move with the lamp.
  cv::Mat least;
  cv::Mat channels[3];
  cv::split(flat, channels);
  least = cv::min(cv::min(channels[0], channels[1]), channels[2]);
  cv::Mat glare = least >= 245;
  cv::dilate(glare, glare, cv::getStructuringElement(cv::MORPH_ELLIPSE, {5, 5}));
  mask.setTo(0, glare);

  std::vector<cv::KeyPoint> keys;
  cv::SIFT::create(options.most_points, 3, 0.02, 12, 1.6)->detectAndCompute(grey, mask, keys, out.descriptors);
  for (const auto& k : keys)
    out.points.push_back({{box.x0 + (k.pt.x + 0.5) / s, box.y0 + (k.pt.y + 0.5) / s}, k.size / s, k.angle * std::numbers::pi / 180});
  for (int i = 0; i < out.descriptors.rows; ++i) {
    auto row = out.descriptors.row(i);
    row /= std::max(1e-6, cv::norm(row, cv::NORM_L1));
    cv::sqrt(row, row);
  }
  return out;
}

SkinPattern read_skin(const std::filesystem::path& photo, const scale::PlaneMap& map, const ImageOutline& outline, const SkinOptions& options) {
  // Reduced so far that the wound keeps the pixels a millimetre that are looked at.
  const auto info = photo::probe(photo);
  const auto at = outline.empty() ? ImagePoint{info.width_px / 2.0, info.height_px / 2.0} : centroid(outline);
  const double mm_per_px = map.mm_per_px(at), longer = std::max(info.width_px, info.height_px);
  const double wanted = mm_per_px > 0 ? std::min(1.0, options.px_per_mm * mm_per_px) : 1;
  const auto preview = photo::load_preview(photo, static_cast<int>(std::ceil(longer * wanted)));
  return read_skin(preview.bgr, preview.scale, map, outline, options);
}

std::vector<std::shared_ptr<const SkinPattern>> read_skins(const std::vector<SkinPhoto>& photos, const Token& token) {
  std::vector<std::shared_ptr<const SkinPattern>> out(photos.size());
  std::atomic<std::size_t> next{0}, done{0};
  const auto work = [&] {
    for (std::size_t i; !token.cancelled() && (i = next++) < photos.size();) {
      if (photos[i].map) try {
          out[i] = std::make_shared<SkinPattern>(read_skin(photos[i].file, *photos[i].map, photos[i].outline));
        } catch (const std::exception&) {
          // A photo that is gone or damaged is told where it is opened; here it only cannot be laid over the others.
        }
      token.progress(static_cast<double>(++done) / static_cast<double>(photos.size()));
    }
  };
  const unsigned many = std::min<unsigned>(std::max(1u, std::thread::hardware_concurrency()), static_cast<unsigned>(photos.size()));
  std::vector<std::thread> others;
  for (unsigned i = 1; i < many; ++i) others.emplace_back(work);
  work();
  for (auto& t : others) t.join();
  return out;
}

}  // namespace uroko::measure
