#include "uroko/bed/colour.h"

#include <cmath>
#include <numbers>

namespace uroko::bed {

namespace {

// sRGB primaries and D65 white to XYZ (IEC 61966-2-1, white Y = 1).
constexpr double kXyz[3][3] = {{0.4124564, 0.3575761, 0.1804375}, {0.2126729, 0.7151522, 0.0721750}, {0.0193339, 0.1191920, 0.9503041}};
constexpr double kRgb[3][3] = {{3.2404542, -1.5371385, -0.4985314}, {-0.9692660, 1.8760108, 0.0415560}, {0.0556434, -0.2040259, 1.0572252}};
constexpr double kWhite[3] = {0.95047, 1.0, 1.08883};
// CIE 15:2004, 8.2.1.1, in exact fractions.
constexpr double kEpsilon = 216.0 / 24389, kKappa = 24389.0 / 27;

double f(double t) { return t > kEpsilon ? std::cbrt(t) : (kKappa * t + 16) / 116; }
double f_inverse(double v) { return v * v * v > kEpsilon ? v * v * v : (116 * v - 16) / kKappa; }

}  // namespace

double linear_from_srgb(double v) { return v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4); }
double srgb_from_linear(double v) { return v <= 0.0031308 ? 12.92 * v : 1.055 * std::pow(v, 1 / 2.4) - 0.055; }

Lab lab_from_linear(double r, double g, double b) {
  double xyz[3];
  for (int i = 0; i < 3; ++i) xyz[i] = f((kXyz[i][0] * r + kXyz[i][1] * g + kXyz[i][2] * b) / kWhite[i]);
  return {116 * xyz[1] - 16, 500 * (xyz[0] - xyz[1]), 200 * (xyz[1] - xyz[2])};
}

Lab lab_from_srgb(double r, double g, double b) {
  return lab_from_linear(linear_from_srgb(r / 255), linear_from_srgb(g / 255), linear_from_srgb(b / 255));
}

std::array<double, 3> linear_from_lab(const Lab& lab) {
  const double fy = (lab.l + 16) / 116;
  const double xyz[3] = {kWhite[0] * f_inverse(fy + lab.a / 500), kWhite[1] * f_inverse(fy), kWhite[2] * f_inverse(fy - lab.b / 200)};
  std::array<double, 3> rgb{};
  for (int i = 0; i < 3; ++i) rgb[static_cast<std::size_t>(i)] = kRgb[i][0] * xyz[0] + kRgb[i][1] * xyz[1] + kRgb[i][2] * xyz[2];
  return rgb;
}

double ciede2000(const Lab& x, const Lab& y) {
  constexpr double kDegree = std::numbers::pi / 180, kTwoPi = 2 * std::numbers::pi;
  const auto seventh = [](double c) { return std::sqrt(std::pow(c, 7) / (std::pow(c, 7) + std::pow(25.0, 7))); };
  const double g = 0.5 * (1 - seventh((std::hypot(x.a, x.b) + std::hypot(y.a, y.b)) / 2));
  const double a1 = (1 + g) * x.a, a2 = (1 + g) * y.a;
  const double c1 = std::hypot(a1, x.b), c2 = std::hypot(a2, y.b);
  const auto hue = [&](double a, double b) {
    if (a == 0 && b == 0) return 0.0;
    const double h = std::atan2(b, a);
    return h < 0 ? h + kTwoPi : h;
  };
  const double h1 = hue(a1, x.b), h2 = hue(a2, y.b);
  const bool neutral = c1 * c2 == 0;
  double dh = neutral ? 0 : h2 - h1;
  if (dh > std::numbers::pi) dh -= kTwoPi;
  if (dh < -std::numbers::pi) dh += kTwoPi;
  double h = h1 + h2;
  if (!neutral) {
    if (std::abs(h1 - h2) > std::numbers::pi) h += h < kTwoPi ? kTwoPi : -kTwoPi;
    h /= 2;
  }
  const double dl = y.l - x.l, dc = c2 - c1, dhh = 2 * std::sqrt(c1 * c2) * std::sin(dh / 2);
  const double l = (x.l + y.l) / 2, c = (c1 + c2) / 2;
  const double t = 1 - 0.17 * std::cos(h - 30 * kDegree) + 0.24 * std::cos(2 * h) + 0.32 * std::cos(3 * h + 6 * kDegree) - 0.20 * std::cos(4 * h - 63 * kDegree);
  const double from275 = (h / kDegree - 275) / 25, rotation = 2 * seventh(c) * std::sin(60 * kDegree * std::exp(-from275 * from275));
  const double sl = 1 + 0.015 * (l - 50) * (l - 50) / std::sqrt(20 + (l - 50) * (l - 50)), sc = 1 + 0.045 * c, sh = 1 + 0.015 * c * t;
  const double tl = dl / sl, tc = dc / sc, th = dhh / sh;
  return std::sqrt(tl * tl + tc * tc + th * th - rotation * tc * th);
}

}  // namespace uroko::bed
