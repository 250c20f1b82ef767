#pragma once
#include "uroko/geometry/polygon.h"

namespace uroko::app {

/// `outline` moved so that its centre lies on that of `under`, in the turn (steps of 15 degrees, none without a reason) that overlaps it most. For the
/// eye only: the overlap is counted in cells of about a hundredth of the larger one. Preconditions: neither empty, finite.
PlaneOutline laid_over(const PlaneOutline& outline, const PlaneOutline& under);

}  // namespace uroko::app
