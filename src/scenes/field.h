#pragma once
#include <cmath>
#include <cstdint>

namespace uroko::scenes {

/// Smooth noise in about [-1, 1], a pure function of place and seed: gradients at integer lattice points, quintic blending (Perlin 2002).
inline double field(double x, double y, std::uint32_t seed) {
  const double fx = std::floor(x), fy = std::floor(y);
  const auto ix = static_cast<std::int32_t>(fx), iy = static_cast<std::int32_t>(fy);
  const double u = x - fx, v = y - fy;
  const auto corner = [&](std::int32_t i, std::int32_t j, double dx, double dy) {
    std::uint32_t h = static_cast<std::uint32_t>(i) * 0x9E3779B1u ^ static_cast<std::uint32_t>(j) * 0x85EBCA77u ^ seed * 0xC2B2AE3Du;
    h ^= h >> 15, h *= 0x2C1B3C6Du, h ^= h >> 12, h *= 0x297A2D39u, h ^= h >> 15;
    // Two 16-bit components are gradient enough.
    const double gx = static_cast<double>(h & 0xFFFF) / 32767.5 - 1, gy = static_cast<double>(h >> 16) / 32767.5 - 1;
    return gx * dx + gy * dy;
  };
  const auto fade = [](double t) { return t * t * t * (t * (t * 6 - 15) + 10); };
  const double a = fade(u), b = fade(v);
  const double top = corner(ix, iy, u, v) * (1 - a) + corner(ix + 1, iy, u - 1, v) * a;
  const double bottom = corner(ix, iy + 1, u, v - 1) * (1 - a) + corner(ix + 1, iy + 1, u - 1, v - 1) * a;
  return 1.5 * (top * (1 - b) + bottom * b);
}

/// Octaves of `field`, each half as strong and twice as fine.
inline double octaves(double x, double y, std::uint32_t seed, int n) {
  double sum = 0, weight = 1, total = 0;
  for (int k = 0; k < n; ++k) {
    sum += weight * field(x, y, seed + 101u * static_cast<std::uint32_t>(k));
    total += weight;
    weight *= 0.5;
    x = 2 * x + 17.3, y = 2 * y + 5.7;
  }
  return sum / total;
}

inline double step_between(double low, double high, double x) {
  const double t = std::fmin(1, std::fmax(0, (x - low) / (high - low)));
  return t * t * (3 - 2 * t);
}

/// One number in [0, 1) for a lattice cell.
inline double cell_random(std::int32_t i, std::int32_t j, std::uint32_t seed) {
  std::uint32_t h = static_cast<std::uint32_t>(i) * 0x27D4EB2Fu ^ static_cast<std::uint32_t>(j) * 0x165667B1u ^ seed * 0x9E3779B1u;
  h ^= h >> 15, h *= 0x2C1B3C6Du, h ^= h >> 12, h *= 0x297A2D39u, h ^= h >> 15;
  return static_cast<double>(h) / 4294967296.0;
}

}  // namespace uroko::scenes
