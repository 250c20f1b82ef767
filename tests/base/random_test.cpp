#include <catch2/catch.hpp>
#include <cmath>

#include "uroko/base/random.h"

TEST_CASE("seeded random numbers repeat, and have the moments of their law") {
  uroko::Random a(42), b(42), c(43);
  CHECK(a.bits() == b.bits());
  CHECK(a.bits() != c.bits());
  uroko::Random random(1);
  const int n = 200000;
  double sum = 0, squares = 0, fourth = 0;
  for (int i = 0; i < n; ++i) {
    const double x = random.normal();
    sum += x;
    squares += x * x;
    fourth += x * x * x * x;
  }
  // Five standard errors of each moment.
  CHECK(std::abs(sum / n) < 5 / std::sqrt(n));
  CHECK(std::abs(squares / n - 1) < 5 * std::sqrt(2.0 / n));
  CHECK(std::abs(fourth / n - 3) < 5 * std::sqrt(96.0 / n));
}
