#pragma once
// The clock of this test program, for the tests of a clock that is set back. Include it in ONE file of a test executable: it takes the place of the
// C library's time(), which DateTime::now() asks.
#include <ctime>

namespace uroko::testing {

/// Seconds added to the system's clock.
inline std::time_t g_clock_offset_s = 0;

/// The clock is set right again at the end of a test.
struct ClockMoved {
  ~ClockMoved() { g_clock_offset_s = 0; }
  void by_days(int days) { g_clock_offset_s += std::time_t{86400} * days; }
};

}  // namespace uroko::testing

extern "C" std::time_t time(std::time_t* out) noexcept {
  std::timespec now{};
  ::clock_gettime(CLOCK_REALTIME, &now);
  const std::time_t told = now.tv_sec + uroko::testing::g_clock_offset_s;
  if (out != nullptr) *out = told;
  return told;
}
