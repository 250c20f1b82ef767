#include "margin/raster.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <unordered_map>

namespace uroko::margin {

cv::Mat filled(const ImageOutline& outline, const cv::Size& size) {
  cv::Mat mask = cv::Mat::zeros(size, CV_8U);
  std::vector<std::vector<double>> cuts(static_cast<std::size_t>(size.height));
  const auto add = [&](const Ring<ImagePoint>& ring) {
    for (std::size_t i = 0, j = ring.size() - 1; i < ring.size(); j = i++) {
      ImagePoint a = ring[j], b = ring[i];
      if (a.y == b.y) continue;
      if (a.y > b.y) std::swap(a, b);
      const int top = static_cast<int>(std::max(0.0, std::ceil(a.y)));
      for (int y = top; y < size.height && y < b.y; ++y) cuts[static_cast<std::size_t>(y)].push_back(a.x + (y - a.y) * (b.x - a.x) / (b.y - a.y));
    }
  };
  for (const auto& part : outline.parts) {
    if (!part.outer.empty()) add(part.outer);
    for (const auto& hole : part.holes)
      if (!hole.empty()) add(hole);
  }
  for (int y = 0; y < size.height; ++y) {
    auto& row = cuts[static_cast<std::size_t>(y)];
    std::sort(row.begin(), row.end());
    uchar* out = mask.ptr<uchar>(y);
    for (std::size_t k = 0; k + 1 < row.size(); k += 2) {
      const int from = static_cast<int>(std::max(0.0, std::ceil(row[k]))),
                to = static_cast<int>(std::min<double>(size.width - 1, std::ceil(row[k + 1]) - 1));
      for (int x = from; x <= to; ++x) out[x] = 255;
    }
  }
  return mask;
}

namespace {

/// Crossings are keyed by the grid edge they lie on: horizontal edge from (x, y) to (x+1, y), or vertical from (x, y) to (x, y+1).
struct Tracer {
  const cv::Mat& level;
  float iso;
  int w, h;
  double at(int x, int y) const {
    if (x < 0 || y < 0 || x >= level.cols || y >= level.rows) return -1e-6;
    return static_cast<double>(level.at<float>(y, x)) - static_cast<double>(iso);
  }
  std::int64_t key(int x, int y, bool vertical) const { return (static_cast<std::int64_t>(y + 1) * (w + 3) + (x + 1)) * 2 + (vertical ? 1 : 0); }
  ImagePoint place(std::int64_t k) const {
    const bool vertical = k & 1;
    const int x = static_cast<int>((k / 2) % (w + 3)) - 1, y = static_cast<int>((k / 2) / (w + 3)) - 1;
    double a = at(x, y), b = vertical ? at(x, y + 1) : at(x + 1, y);
    // Beyond the picture's rim the level is taken to drop at half a pixel, where the pixel ends.
    const auto outside = [&](int px, int py) { return px < 0 || py < 0 || px >= w || py >= h; };
    double t = a / (a - b);
    if (outside(x, y) || (vertical ? outside(x, y + 1) : outside(x + 1, y))) t = 0.5;
    return vertical ? ImagePoint{static_cast<double>(x), y + t} : ImagePoint{x + t, static_cast<double>(y)};
  }
};

}  // namespace

ImageOutline outline_at(const cv::Mat& level, float iso, double least_area) {
  const Tracer t{level, iso, level.cols, level.rows};
  std::unordered_map<std::int64_t, std::int64_t> next;
  std::vector<std::int64_t> starts;
  for (int y = -1; y < t.h; ++y)
    for (int x = -1; x < t.w; ++x) {
      const double v[4] = {t.at(x, y), t.at(x + 1, y), t.at(x + 1, y + 1), t.at(x, y + 1)};
      int code = 0;
      for (int k = 0; k < 4; ++k)
        if (v[k] > 0) code |= 1 << k;  // written as (v[k] > 0) << k, GCC 12 with -fsanitize=undefined runs past the fourth
      if (code == 0 || code == 15) continue;
      // Sides: 0 top, 1 right, 2 bottom, 3 left. A segment runs from where the level falls
      // to where it rises going clockwise round the cell: outer rings turn from +x to +y.
      const std::int64_t side[4] = {t.key(x, y, false), t.key(x + 1, y, true), t.key(x, y + 1, false), t.key(x, y, true)};
      std::array<int, 2> up{}, down{};
      int nu = 0, nd = 0;
      for (int k = 0; k < 4; ++k) {
        const bool a = v[k] > 0, b = v[(k + 1) % 4] > 0;
        if (!a && b) up[static_cast<std::size_t>(nu++)] = k;
        if (a && !b) down[static_cast<std::size_t>(nd++)] = k;
      }
      const auto link = [&](int from, int to) {
        next[side[to]] = side[from];
        starts.push_back(side[to]);
      };
      if (nu == 1) {
        link(up[0], down[0]);
      } else {
        // Saddle: joined through the middle when the mean is inside.
        const bool joined = v[0] + v[1] + v[2] + v[3] > 0;
        for (int a = 0; a < 2; ++a) {
          const int u = up[static_cast<std::size_t>(a)];
          link(u, joined ? (u + 3) % 4 : (u + 1) % 4);
        }
      }
    }
  std::vector<Ring<ImagePoint>> outers, holes;
  for (const auto start : starts) {
    if (!next.count(start)) continue;
    Ring<ImagePoint> ring;
    for (auto k = start;;) {
      const auto it = next.find(k);
      if (it == next.end()) break;
      ring.push_back(t.place(k));
      k = it->second;
      next.erase(it);
    }
    const double a = signed_area(ring);
    if (ring.size() < 3 || std::abs(a) <= least_area) continue;
    (a > 0 ? outers : holes).push_back(std::move(ring));
  }
  ImageOutline out;
  for (auto& ring : outers) out.parts.push_back({std::move(ring), {}});
  std::sort(out.parts.begin(), out.parts.end(), [](const auto& a, const auto& b) { return signed_area(a.outer) > signed_area(b.outer); });
  for (auto& hole : holes) {
    // The smallest outer ring round it.
    for (auto part = out.parts.rbegin(); part != out.parts.rend(); ++part)
      if (contains(ImageOutline{{{part->outer, {}}}}, hole.front())) {
        part->holes.push_back(std::move(hole));
        break;
      }
  }
  return out;
}

double ring_length(const Ring<ImagePoint>& ring) {
  double sum = 0;
  for (std::size_t i = 0; i < ring.size(); ++i) sum += distance(ring[i], ring[(i + 1) % ring.size()]);
  return sum;
}

Ring<ImagePoint> resampled(const Ring<ImagePoint>& ring, int n, double phase) {
  Ring<ImagePoint> out;
  const double step = ring_length(ring) / n;
  if (!(step > 0)) return ring;
  double done = 0;
  for (std::size_t i = 0; i < ring.size(); ++i) {
    const auto &a = ring[i], &b = ring[(i + 1) % ring.size()];
    const double d = distance(a, b);
    while (static_cast<int>(out.size()) < n && (static_cast<double>(out.size()) + phase) * step <= done + d) {
      const double t = d > 0 ? ((static_cast<double>(out.size()) + phase) * step - done) / d : 0;
      out.push_back({a.x + t * (b.x - a.x), a.y + t * (b.y - a.y)});
    }
    done += d;
  }
  while (static_cast<int>(out.size()) < n) out.push_back(ring.back());
  return out;
}

cv::Mat stroked(const std::vector<ImagePoint>& line, double radius, const cv::Size& size) {
  cv::Mat mask = cv::Mat::zeros(size, CV_8U);
  for (std::size_t i = 0; i < line.size(); ++i) {
    const auto &a = line[i], &b = line[std::min(i + 1, line.size() - 1)];
    const double vx = b.x - a.x, vy = b.y - a.y, l2 = vx * vx + vy * vy;
    const int x0 = std::max(0, static_cast<int>(std::floor(std::min(a.x, b.x) - radius))),
              x1 = std::min(size.width - 1, static_cast<int>(std::ceil(std::max(a.x, b.x) + radius)));
    const int y0 = std::max(0, static_cast<int>(std::floor(std::min(a.y, b.y) - radius))),
              y1 = std::min(size.height - 1, static_cast<int>(std::ceil(std::max(a.y, b.y) + radius)));
    for (int y = y0; y <= y1; ++y)
      for (int x = x0; x <= x1; ++x) {
        const double t = l2 > 0 ? std::clamp(((x - a.x) * vx + (y - a.y) * vy) / l2, 0.0, 1.0) : 0;
        if (std::hypot(x - a.x - t * vx, y - a.y - t * vy) <= radius) mask.at<uchar>(y, x) = 255;
      }
  }
  return mask;
}

}  // namespace uroko::margin
