#pragma once
#include "gui/ui.h"

namespace uroko::gui {

// One file a panel. Each draws its box from constant state.
void draw_top_bar(Ui& ui, const Box& box);
void draw_fish_list(Ui& ui, const Box& box);
void draw_photo(Ui& ui, const Box& box);
void draw_compare(Ui& ui, const Box& box);
void draw_start(Ui& ui, const Box& box);
void draw_result(Ui& ui, const Box& box);
/// The form that is open, in the place of the result; false when none is.
bool draw_form(Ui& ui, const Box& box);
void draw_bank(Ui& ui, const Box& box);
void draw_notices(Ui& ui, const Box& photo);
/// What waits for the last write, over everything.
void draw_leaving(Ui& ui, const Box& all);
void draw_palette(Ui& ui, const Box& box);
void draw_guide(Ui& ui, const Box& box);
/// The tour's present stop, beside what it speaks of.
void draw_tour(Ui& ui, const Box& all);
/// The four other ways to give a scale, each with a small picture; its height.
float draw_scale_ways(Ui& ui, float x, float y, float w);

/// A refusal as a person reads it: what and what to do, each a sentence.
std::string said(const Refusal& refusal);

/// The whole window's content; `width`, `height` in screen pixels.
void draw_window(Ui& ui, float width, float height);

/// Photo in a box through a view, from tiles; used by the desk and by the comparison.
void draw_tiles(Ui& ui, const Box& box, const std::string& name, const app::Pyramid& pyramid, const app::View& view);
/// The 10 mm bar, or 1 or 100 mm where 10 does not fit; bottom right of the box.
void draw_scale_bar(Ui& ui, const Box& box, double screen_px_per_mm, float share = 0.6f);

/// Okabe-Ito (Okabe & Ito 2008, "Color Universal Design"), adapted in lightness to the bed's own look, and a hatching for each class.
struct BedLook {
  const char* label;
  ImU32 colour;
  int hatch;  ///< 0 plain, 1 diagonal, 2 dots, 3 cross, 4 sparse dots, 5 level lines
};
const BedLook& bed_look(int tissue);
void fill_hatched(Ui& ui, const Box& b, const BedLook& look);

}  // namespace uroko::gui
