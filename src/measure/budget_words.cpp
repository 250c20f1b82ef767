#include <cmath>

#include "uroko/measure/budget.h"

namespace uroko::measure {

const SourceWords& words_of(const std::string& source) {
  static const SourceWords kAll[] = {
      {"margin shift", "where a person would draw the edge: it moves the whole margin in or out", "trace the wound again (a repeat trace tells how far you are off), in a sharper or nearer photo"},
      {"margin noise", "how sharply the photo shows the edge, place by place", "take a sharper photo, or trace the doubtful stretches by hand"},
      {"repeat traces", "how far the repeated traces lie apart", "trace once more: the mean of more traces is surer"},
      {"scale", "how well the reference's points were found in the photo", "use the printed card or a larger reference, flat, sharp and close to the wound"},
      {"print", "the reference's true size", "measure the card's 100 mm line and give it (--print-length)"},
      {"plane offset", "the reference lies a little above or below the wound", "lay it level with the skin beside the wound, or say how far off it can be (--plane-offset); a longer distance to the camera lessens it"},
      {"plane tilt", "the reference leans against the wound's plane", "lay it level on the skin beside the wound, and hold the camera square to it"},
      {"lens", "what the lens bends", "make a profile of the camera (uroko lens), and keep card and wound near the middle of the picture"},
      {"curvature", "the skin bends away from the reference's plane", "lay the card right beside the wound; give the body's depth, width and lateral midline"},
      {"disagreement", "the photos of this visit differ by more than their intervals", "compare their margins and how the card lies in each, and leave out the odd one"}};
  for (const auto& words : kAll)
    if (source == words.source) return words;
  static const SourceWords kOther{"", "a further source", ""};
  return kOther;
}

double share_of(const BudgetLine& line, const std::vector<BudgetLine>& budget) {
  const double all = combined_u(budget);
  return all > 0 ? std::pow(line.u_mm2 / all, 2) : 0;
}

}  // namespace uroko::measure
