#include "margin/stroke_rays.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "margin/colour_model.h"
#include "margin/crop.h"
#include "margin/raster.h"
#include "margin/rays.h"
#include "margin/rings.h"

namespace uroko::margin {

namespace {

// In radii of the part unless said otherwise. Tuned on the even photos of fuseg_foot_ulcer.
constexpr double kPast = 0.45;    ///< past the stroke's ends, in half its length
constexpr double kTrust = 0.45;  ///< how far the edge may lie from where it is expected, in the distance between stroke and margin
constexpr double kBeyond = 2.0;  ///< where it is expected, same unit
constexpr double kNode = 0.02;
constexpr double kSteep = 1.2;  ///< a stroke that leaves the margin more steeply follows a tongue of it
constexpr int kSide = 256;

/// Distance between stroke and ring at every node that the stroke runs beside, 0 elsewhere; empty when it does not run along the ring.
struct Beside {
  std::vector<double> offset;
  int first = 0, count = 0;  ///< the stretch of nodes, round the ring
};
std::optional<Beside> beside(const Ring<ImagePoint>& nodes, const std::vector<Eigen::Vector2d>& outward, const Stroke& stroke, double sign,
                             double spacing) {
  const int n = static_cast<int>(nodes.size());
  Beside b;
  b.offset.assign(nodes.size(), 0.0);
  for (std::size_t k = 0; k < stroke.size(); ++k) {
    const auto &p = stroke[k], &q = stroke[std::min(k + 1, stroke.size() - 1)];
    const int pieces = std::max(1, static_cast<int>(std::ceil(distance(p, q) / (0.5 * spacing))));
    for (int t = 0; t <= pieces; ++t) {
      const ImagePoint at{p.x + t * (q.x - p.x) / pieces, p.y + t * (q.y - p.y) / pieces};
      int best = 0;
      for (int i = 1; i < n; ++i)
        if (distance(nodes[static_cast<std::size_t>(i)], at) < distance(nodes[static_cast<std::size_t>(best)], at)) best = i;
      const auto u = static_cast<std::size_t>(best);
      const double side = sign * ((at.x - nodes[u].x) * outward[u].x() + (at.y - nodes[u].y) * outward[u].y());
      if (side > 0) b.offset[u] = std::max(b.offset[u], distance(nodes[u], at));
    }
  }
  // The stretch: all but the longest run of nodes without a stroke beside them.
  int longest = 0, run = 0, end = 0;
  for (int i = 0; i < 2 * n; ++i) {
    run = b.offset[static_cast<std::size_t>(i % n)] > 0 ? 0 : run + 1;
    if (run > longest) longest = run, end = i;
  }
  if (longest >= n) return std::nullopt;
  b.first = (end + 1) % n;
  b.count = n - longest;
  if (b.count > 0.6 * n) return std::nullopt;
  const auto at = [&](int k) -> double& { return b.offset[static_cast<std::size_t>((b.first + k) % n)]; };
  for (int k = 0, last = 0; k < b.count; ++k) {
    if (at(k) <= 0) continue;
    for (int j = last + 1; j < k; ++j) at(j) = at(last) + (at(k) - at(last)) * (j - last) / (k - last);
    if (k > last && std::abs(at(k) - at(last)) > kSteep * spacing * (k - last) + 1) return std::nullopt;
    last = k;
  }
  return b;
}

}  // namespace

std::optional<Moved> moved_along(const cv::Mat& bgr, const ImageOutline& present, const Stroke& stroke, bool wound) {
  // The part whose outer ring is nearest; a hole nearer still is not for us.
  std::size_t which = 0;
  double nearest = 1e300;
  const auto& probe = stroke[stroke.size() / 2];
  for (std::size_t i = 0; i < present.parts.size(); ++i)
    if (const double d = distance_from(present.parts[i].outer, probe); d < nearest) nearest = d, which = i;
  for (const auto& part : present.parts)
    for (const auto& hole : part.holes)
      if (distance_from(hole, probe) < nearest) return std::nullopt;
  const auto& outer = present.parts[which].outer;
  const double radius = radius_of(outer);
  if (radius < 4) return std::nullopt;
  const Crop crop = make_crop(bgr, box_of({{{outer, {}}}}, 0.3), kSide);
  const double s = crop.scale(), r = radius * s;
  Ring<ImagePoint> local;
  for (const auto& p : outer) local.push_back(crop.in_crop(p));
  if (signed_area(local) < 0) std::reverse(local.begin(), local.end());
  const double length = ring_length(local);
  const int n = std::clamp(static_cast<int>(std::lround(length / (kNode * r))), 60, 1500);
  const double spacing = length / n, sign = wound ? 1 : -1;
  const auto nodes = resampled(local, n);
  const auto outward = outward_normals(nodes);
  Stroke line;
  for (const auto& p : stroke) line.push_back(crop.in_crop(p));
  const auto run = beside(nodes, outward, line, sign, spacing);
  if (!run) return std::nullopt;
  const double half = 0.5 * run->count * spacing;
  double drawn = 0, furthest = 0;
  for (std::size_t k = 1; k < line.size(); ++k) drawn += distance(line[k - 1], line[k]);
  // A short stroke inside a bump lies beside all of its edge: that is not along it.
  if (2 * half > 1.35 * drawn + 0.05 * r) return std::nullopt;
  for (const double o : run->offset) furthest = std::max(furthest, o);
  if (furthest > 0.35 * r || furthest > std::max(1.6 * half, 0.1 * r)) return std::nullopt;
  // Where the edge is expected: so far from the present margin.
  std::vector<double> expected(nodes.size(), 0.0), tightness(nodes.size(), 0.0), offset = run->offset;
  const auto node = [&](int k) { return static_cast<std::size_t>(((run->first + k) % n + n) % n); };
  const double first = offset[node(0)], last = offset[node(run->count - 1)];
  const double past = std::max({kPast * half, 1.2 * std::max(first, last), 2 * spacing});
  const int reach = std::min((n - run->count) / 2, static_cast<int>(std::ceil(past / spacing)));
  for (int k = -reach; k < run->count + reach; ++k) {
    const double d = std::max({0.0, static_cast<double>(-k), static_cast<double>(k - run->count + 1)}) * spacing / past;
    const double o = d > 0 ? (k < 0 ? first : last) : offset[node(k)];
    expected[node(k)] = kBeyond * o * std::max(0.0, 1 - d * d);
    tightness[node(k)] = o;
  }
  Ring<ImagePoint> guess(nodes.size());
  for (int i = 0; i < n; ++i) {
    const auto u = static_cast<std::size_t>(i);
    guess[u] = {nodes[u].x + sign * expected[u] * outward[u].x(), nodes[u].y + sign * expected[u] * outward[u].y()};
  }
  if (find_fault(ImageOutline{{{guess, {}}}})) return std::nullopt;
  cv::Mat smooth;
  cv::GaussianBlur(crop.bgr, smooth, {}, 0.6);
  const auto rays = rays_about(lab_of(smooth), guess, kCloseRays);
  const auto node_at = [&](int ray) { return static_cast<std::size_t>(static_cast<long>(std::lround(static_cast<double>(ray) * n / rays.n)) % n); };
  std::vector<char> open(static_cast<std::size_t>(rays.n), 0);
  for (int i = 0; i < rays.n; ++i) open[static_cast<std::size_t>(i)] = tightness[node_at(i)] > 0 && expected[node_at(i)] > 0;
  // Elsewhere the margin stays where it is: the net is not asked there.
  auto score = scores_where(close_model(), rays, open);
  for (int i = 0; i < rays.n; ++i) {
    const auto v = static_cast<std::size_t>(i), u = node_at(i);
    const double room = std::max(0.015 * r, kTrust * tightness[u]), brush = std::min(1.0, 0.5 * offset[u]);
    for (int k = 0; k < rays.m; ++k) {
      const double depth = rays.depth_px(k), off = open[v] ? depth / room : depth / (0.003 * r);
      double price = std::min(20.0, 0.5 * off * off);
      // Never across the stroke, never the other way.
      const double moved = expected[u] - sign * depth;
      if (open[v] && (moved < offset[u] + brush * (offset[u] > 0) || moved < 0)) price = 30;
      score[static_cast<Eigen::Index>(i) * rays.m + k] -= static_cast<float>(price / kSharpness);
    }
  }
  const auto found = follow(rays, score, kCloseStiffness, kSharpness);
  Ring<ImagePoint> fresh;
  Moved out;
  for (int i = 0; i < rays.n; ++i) {
    const auto v = static_cast<std::size_t>(i);
    fresh.push_back(crop.in_photo(open[v] ? found.ring[v] : rays.ring[v]));
    if (open[v]) out.doubts.emplace_back(fresh.back(), found.doubt_px[v] / s);
  }
  ImageOutline whole{{{fresh, {}}}};
  if (find_fault(whole)) whole = made_valid(whole);
  if (whole.empty()) return std::nullopt;
  const ImageOutline old{{{outer, {}}}};
  auto change = wound ? difference(whole, old) : difference(old, whole);
  // Only what hangs together with the stroke; chords of the resampled ring leave crumbs elsewhere.
  ImageOutline taken;
  for (const auto& part : change.parts) {
    const ImageOutline one{{part}};
    if (std::any_of(stroke.begin(), stroke.end(), [&](const auto& p) { return contains(one, p); })) taken.parts.push_back(part);
  }
  if (taken.empty()) return std::nullopt;
  out.outline = wound ? united(present, taken) : difference(present, taken);
  if (out.outline.empty() || find_fault(out.outline)) return std::nullopt;
  return out;
}

}  // namespace uroko::margin
