#pragma once
#include "uroko/report/sheet.h"

namespace uroko::report {

/// How many millimetres wide the part of the photo round the wound is that a panel of that shape (width / height) shows; 0 without a scale.
double panel_mm(const SheetPhoto& photo, double aspect);
/// The part of the photo round the wound, filling w x h points; a 10 mm bar when the scale is known; the margin as a thin double stroke.
/// `mm`: show that many millimetres across instead of choosing, so that two photos share one scale; 0: choose.
Scene photo_panel(const SheetPhoto& photo, double w, double h, bool with_margin, const Palette& colours, double mm = 0);

}  // namespace uroko::report
