#include "uroko/base/random.h"

#include <cmath>

namespace uroko {

double Random::normal() {
  if (has_spare_) {
    has_spare_ = false;
    return spare_;
  }
  double a, b, s;
  do {
    a = 2 * uniform() - 1;
    b = 2 * uniform() - 1;
    s = a * a + b * b;
  } while (s >= 1 || s == 0);
  const double f = std::sqrt(-2 * std::log(s) / s);
  spare_ = b * f;
  has_spare_ = true;
  return a * f;
}

}  // namespace uroko
