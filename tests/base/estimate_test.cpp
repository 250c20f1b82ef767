#include "uroko/base/estimate.h"

#include <catch2/catch.hpp>
#include <cmath>

using namespace uroko;

TEST_CASE("Student's t is that of the printed table") {
  // NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2, column 0.975.
  for (const auto& [dof, t] : {std::pair{1.0, 12.706}, {2.0, 4.303}, {5.0, 2.571}, {10.0, 2.228}, {30.0, 2.042}, {100.0, 1.984}}) CHECK(t_quantile(0.975, dof) == Approx(t).margin(0.0005));
  CHECK(t_quantile(0.975, INFINITY) == Approx(1.960).margin(0.0005));
  const auto e = symmetric_estimate(12, 2, 5);
  CHECK(e.low95 == Approx(12 - 2.571 * 2).margin(0.001));
  CHECK(e.high95 == Approx(12 + 2.571 * 2).margin(0.001));
}

TEST_CASE("an area's interval is symmetric in its root, close to symmetric when it is narrow, and never below 0") {
  const auto a = area_estimate(100, 10);
  CHECK(a.low95 == Approx(std::pow(10 - 0.98, 2)).epsilon(1e-4));
  CHECK(a.high95 == Approx(std::pow(10 + 0.98, 2)).epsilon(1e-4));
  CHECK(std::sqrt(a.high95) - 10 == Approx(10 - std::sqrt(a.low95)));
  const auto narrow = area_estimate(456.5, 4.1), plain = symmetric_estimate(456.5, 4.1);
  CHECK(narrow.low95 == Approx(plain.low95).margin(0.05));
  CHECK(narrow.high95 == Approx(plain.high95).margin(0.05));
  CHECK(area_estimate(1, 5).low95 == 0);
  // A closed wound: what could still be hidden.
  const auto closed = area_estimate(0, 1);
  CHECK(closed.low95 >= 0);
  CHECK(closed.high95 == Approx(1.960).margin(0.0005));
}
