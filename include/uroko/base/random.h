#pragma once
#include <cstdint>
#include <random>

namespace uroko {

/// Seeded random numbers, the same on every platform (the standard library's distributions are not).
class Random {
 public:
  explicit Random(std::uint64_t seed) : engine_(seed) {}
  /// Uniform in [0, 1).
  double uniform() { return static_cast<double>(engine_() >> 11) * 0x1.0p-53; }
  double uniform(double low, double high) { return low + (high - low) * uniform(); }
  /// Uniform integer in [0, n). Precondition: n > 0.
  int index(int n) { return static_cast<int>(uniform() * n); }
  /// Normal deviate (Marsaglia's polar method).
  double normal();
  double normal(double mean, double sigma) { return mean + sigma * normal(); }
  std::uint64_t bits() { return engine_(); }

 private:
  std::mt19937_64 engine_;
  double spare_ = 0;
  bool has_spare_ = false;
};

}  // namespace uroko
