// Fewer or calmer vertices without a change of what is measured.
#include <algorithm>
#include <cmath>

#include "margin/raster.h"
#include "uroko/margin/edits.h"

namespace uroko::margin {

namespace {

/// Douglas and Peucker (1973) between two kept vertices; distances in units of each vertex's own tolerance.
void keep_between(const Ring<ImagePoint>& ring, const std::vector<double>& tolerance, std::size_t from, std::size_t to, std::vector<char>& kept) {
  double worst = 1;
  std::size_t at = 0;
  const std::size_t n = ring.size();
  for (std::size_t i = from + 1; i < to; ++i)
    if (const double d = distance(nearest_on_segment(ring[from % n], ring[to % n], ring[i % n]), ring[i % n]) / tolerance[i % n]; d > worst) worst = d, at = i;
  if (at == 0) return;
  kept[at % n] = 1;
  keep_between(ring, tolerance, from, at, kept);
  keep_between(ring, tolerance, at, to, kept);
}

Ring<ImagePoint> simple_ring(const Ring<ImagePoint>& ring, const std::vector<double>& tolerance) {
  if (ring.size() <= 4) return ring;
  // Two vertices far apart stay: the first and the one farthest from it.
  std::size_t far = 1;
  for (std::size_t i = 1; i < ring.size(); ++i)
    if (distance(ring[i], ring[0]) > distance(ring[far], ring[0])) far = i;
  std::vector<char> kept(ring.size(), 0);
  kept[0] = kept[far] = 1;
  keep_between(ring, tolerance, 0, far, kept);
  keep_between(ring, tolerance, far, ring.size(), kept);
  Ring<ImagePoint> out;
  for (std::size_t i = 0; i < ring.size(); ++i)
    if (kept[i]) out.push_back(ring[i]);
  return out.size() >= 3 ? out : ring;
}

Ring<ImagePoint> calm_ring(const Ring<ImagePoint>& ring, double sigma) {
  const double length = ring_length(ring);
  const int n = std::clamp(static_cast<int>(std::ceil(length / std::max(0.5, sigma / 3))), 24, 4000);
  const auto even = resampled(ring, n);
  const double step = length / n, s = std::min(sigma, length / 8) / step;
  const int reach = std::min(n / 2, static_cast<int>(std::ceil(3 * s)));
  std::vector<double> kernel;
  double sum = 0;
  for (int k = -reach; k <= reach; ++k) kernel.push_back(std::exp(-0.5 * k * k / (s * s))), sum += kernel.back();
  Ring<ImagePoint> out(even.size());
  for (int i = 0; i < n; ++i)
    for (int k = -reach; k <= reach; ++k) {
      const auto& p = even[static_cast<std::size_t>((i + k + n) % n)];
      const double w = kernel[static_cast<std::size_t>(k + reach)] / sum;
      out[static_cast<std::size_t>(i)].x += w * p.x;
      out[static_cast<std::size_t>(i)].y += w * p.y;
    }
  // A low-pass pulls the ring inward where it bends; a common move across itself gives the area back (dA = length x move).
  const double wanted = signed_area(ring), turn = wanted >= 0 ? 1 : -1;
  for (int round = 0; round < 30; ++round) {
    const double lack = std::abs(wanted) - turn * signed_area(out);
    if (std::abs(lack) <= 1e-9 * std::abs(wanted)) break;
    const double move = lack / ring_length(out);
    Ring<ImagePoint> moved(out.size());
    for (std::size_t i = 0; i < out.size(); ++i) {
      const auto &a = out[(i + out.size() - 1) % out.size()], &b = out[(i + 1) % out.size()];
      const double d = std::max(1e-12, distance(a, b));
      moved[i] = {out[i].x + turn * move * (b.y - a.y) / d, out[i].y - turn * move * (b.x - a.x) / d};
    }
    out = moved;
  }
  return out;
}

Refusal bad_amount() { return {"amount", "the amount must be a number above zero", "choose a larger one"}; }

}  // namespace

Result<ImageOutline> simplified_mm(const ImageOutline& outline, double tolerance_mm, const std::function<double(const ImagePoint&)>& mm_per_px) {
  if (!(tolerance_mm > 0) || !std::isfinite(tolerance_mm)) return bad_amount();
  auto valid = repaired(outline);
  if (!valid) return valid.refusal();
  // Simplified rings may touch: a finer tolerance is tried before giving up.
  for (double share = 1; share > 0.05; share /= 2) {
    ImageOutline out = *valid;
    const auto simplify = [&](Ring<ImagePoint>& ring) {
      std::vector<double> tolerance;
      for (const auto& p : ring) tolerance.push_back(std::max(1e-9, share * tolerance_mm / std::max(1e-12, mm_per_px(p))));
      ring = simple_ring(ring, tolerance);
    };
    for (auto& part : out.parts) {
      simplify(part.outer);
      for (auto& hole : part.holes) simplify(hole);
    }
    if (!find_fault(out)) return out;
  }
  return *valid;
}

Result<ImageOutline> simplified(const ImageOutline& outline, double tolerance_px) {
  return simplified_mm(outline, tolerance_px, [](const ImagePoint&) { return 1.0; });
}

Result<ImageOutline> smoothed(const ImageOutline& outline, double sigma_px) {
  if (!(sigma_px > 0) || !std::isfinite(sigma_px)) return bad_amount();
  auto valid = repaired(outline);
  if (!valid) return valid.refusal();
  ImageOutline out = *valid;
  for (auto& part : out.parts) {
    part.outer = calm_ring(part.outer, sigma_px);
    for (auto& hole : part.holes) hole = calm_ring(hole, sigma_px);
  }
  return repaired(out);
}

}  // namespace uroko::margin
