#include "uroko/bed/colour.h"

#include <catch2/catch.hpp>

using namespace uroko::bed;

TEST_CASE("CIEDE2000 gives the published differences") {
  // Sharma, Wu, Dalal 2005, Color Res Appl 30:21, table 1: pairs chosen to catch the usual mistakes.
  const struct {
    Lab x, y;
    double de;
  } table[] = {
      {{50, 2.6772, -79.7751}, {50, 0, -82.7485}, 2.0425},    {{50, -1.3802, -84.2814}, {50, 0, -82.7485}, 1.0000},
      {{50, 0, 0}, {50, -1, 2}, 2.3669},                      {{50, 2.49, -0.001}, {50, -2.49, 0.0009}, 7.1792},
      {{50, 2.49, -0.001}, {50, -2.49, 0.0011}, 7.2195},      {{50, 2.5, 0}, {73, 25, -18}, 27.1492},
      {{60.2574, -34.0099, 36.2677}, {60.4626, -34.1751, 39.4387}, 1.2644}, {{2.0776, 0.0795, -1.1350}, {0.9033, -0.0636, -0.5514}, 0.9082},
  };
  for (const auto& row : table) {
    CHECK(ciede2000(row.x, row.y) == Approx(row.de).margin(0.00005));
    CHECK(ciede2000(row.y, row.x) == Approx(row.de).margin(0.00005));
    CHECK(ciede2000(row.x, row.x) == 0);
  }
}

TEST_CASE("sRGB comes out in Lab as IEC 61966-2-1 and CIE 15 say") {
  const auto near = [](const Lab& got, double l, double a, double b) {
    CHECK(got.l == Approx(l).margin(0.006));
    CHECK(got.a == Approx(a).margin(0.006));
    CHECK(got.b == Approx(b).margin(0.006));
  };
  near(lab_from_srgb(175, 54, 60), 41.35, 49.30, 24.66);
  near(lab_from_srgb(255, 0, 0), 53.24, 80.09, 67.20);
  CHECK(lab_from_srgb(128, 128, 128).l == Approx(53.59).margin(0.005));
  near(lab_from_srgb(255, 255, 255), 100, 0, 0);
  near(lab_from_srgb(0, 0, 0), 0, 0, 0);
}

TEST_CASE("Lab and back loses nothing") {
  for (int r = 0; r < 256; r += 51)
    for (int g = 0; g < 256; g += 51)
      for (int b = 0; b < 256; b += 51) {
        const auto light = linear_from_lab(lab_from_srgb(r, g, b));
        CHECK(255 * srgb_from_linear(light[0]) == Approx(r).margin(0.01));
        CHECK(255 * srgb_from_linear(light[1]) == Approx(g).margin(0.01));
        CHECK(255 * srgb_from_linear(light[2]) == Approx(b).margin(0.01));
      }
}
