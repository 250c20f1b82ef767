#include "gui/panels.h"

#include <cmath>

namespace uroko::gui {

const BedLook& bed_look(int tissue) {
  static const BedLook looks[] = {{"granulation", IM_COL32(168, 62, 60, 255), 0}, {"slough", IM_COL32(216, 164, 30, 255), 1}, {"necrotic, dark", IM_COL32(52, 46, 46, 255), 3},
                                  {"pale (new skin or poor supply)", IM_COL32(222, 178, 168, 255), 2}, {"unsure", IM_COL32(160, 166, 172, 255), 4}, {"glare", IM_COL32(86, 180, 233, 255), 5}};
  return looks[tissue >= 0 && tissue < 6 ? tissue : 4];
}

void fill_hatched(Ui& ui, const Box& b, const BedLook& look) {
  ui.fill(b, look.colour);
  ui.draw->PushClipRect(b.low(), b.high(), true);
  const float step = ui.px(5), w = std::max(1.f, ui.style.scale);
  const ImU32 mark = look.hatch == 3 ? IM_COL32(255, 255, 255, 110) : IM_COL32(255, 255, 255, 190);
  if (look.hatch == 1 || look.hatch == 3) ui.hatch(b, step, true, mark, w);
  if (look.hatch == 3) ui.hatch(b, step, false, mark, w);
  if (look.hatch == 2) ui.dots(b, step, 1.1f * w, IM_COL32(120, 60, 50, 170));
  if (look.hatch == 4) ui.dots(b, 1.6f * step, 1.1f * w, mark);
  if (look.hatch == 5)
    each_step(b.y + step / 2, b.bottom(), step, [&](float y) { ui.draw->AddLine({b.x, y}, {b.right(), y}, mark, w); });
  ui.draw->PopClipRect();
}

}  // namespace uroko::gui
