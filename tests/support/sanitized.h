#pragma once

namespace uroko::testing {

/// Built with AddressSanitizer or ThreadSanitizer: many times slower, with shadow memory and writes that are not the program's.
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
inline constexpr bool sanitized = true;
#else
inline constexpr bool sanitized = false;
#endif

}  // namespace uroko::testing
