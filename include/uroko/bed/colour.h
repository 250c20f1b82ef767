#pragma once
#include <array>
#include <opencv2/core.hpp>

namespace uroko::bed {

/// CIE 1976 L*a*b* against the D65 white of sRGB (CIE 15; IEC 61966-2-1).
struct Lab {
  double l = 0, a = 0, b = 0;
  bool operator==(const Lab&) const = default;
};

/// sRGB's transfer function (IEC 61966-2-1): encoded 0..1 <-> linear light 0..1.
double linear_from_srgb(double encoded);
double srgb_from_linear(double linear);

/// From linear sRGB light, R, G, B, white = 1; values outside 0..1 are allowed and negative ones are taken as they are.
Lab lab_from_linear(double r, double g, double b);
/// From 8-bit sRGB.
Lab lab_from_srgb(double r, double g, double b);
/// To linear sRGB light (R, G, B), not clipped to the gamut.
std::array<double, 3> linear_from_lab(const Lab& lab);

/// CIEDE2000 colour difference (CIE 142-2001; Sharma, Wu, Dalal 2005, Color Res Appl 30:21), kL = kC = kH = 1.
double ciede2000(const Lab& x, const Lab& y);

}  // namespace uroko::bed
