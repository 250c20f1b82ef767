#pragma once
#include "gui/ui.h"
#include "uroko/report/scene.h"

namespace uroko::gui {

/// The report's own drawing on the screen, so that both cannot disagree. One point is one unscaled pixel.
void paint_scene(Ui& ui, const report::Scene& scene, float x, float y);

}  // namespace uroko::gui
