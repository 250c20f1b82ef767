#pragma once

namespace uroko::report {

enum class Paper { a4, letter };  ///< ISO 216; 8.5 x 11 inches

}  // namespace uroko::report
