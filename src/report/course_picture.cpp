#include <algorithm>

#include "report/photo_panel.h"
#include "report/wound_text.h"
#include "uroko/report/sheet.h"
#include "uroko/report/words.h"

namespace uroko::report {

Scene course_picture(const SheetData& data, Theme theme) {
  const Palette& colours = palette(theme);
  constexpr double kWidth = 540, kMargin = 26, kInner = kWidth - 2 * kMargin;
  Scene scene{kWidth, 0, {}};
  auto& items = scene.items;
  items.push_back(Fill{{}, colours.paper, Hatch::none});  // the ground; its corners are known at the end
  double y = kMargin + 22;
  items.push_back(
      Label{{kMargin, y}, fitted(data.fish.empty() ? "fish without a name" : data.fish, 24, kInner, true), 24, colours.ink, Anchor::left, true, 0});
  y += 20;
  items.push_back(Label{{kMargin, y}, fitted(wound_text(data), 12, kInner), 12, colours.quiet, Anchor::left, false, 0});
  y += 18;

  const double gap = 10, w = (kInner - gap) / 2, h = w * 0.8;
  const bool two = data.first && data.latest && before(data.first->date, data.latest->date);
  if (data.latest) {
    const double wide = two ? w : kInner, tall = two ? h : kInner * 0.6;
    double mm = 0;
    if (two && panel_mm(*data.first, wide / tall) > 0 && panel_mm(*data.latest, wide / tall) > 0)
      mm = std::max(panel_mm(*data.first, wide / tall), panel_mm(*data.latest, wide / tall));
    if (two) {
      place(scene, photo_panel(*data.first, wide, tall, true, colours, mm), {kMargin, y});
      items.push_back(Label{{kMargin, y + tall + 15}, short_date(data.first->date, true), 11, colours.quiet, Anchor::left, false, 0});
    }
    const double x = two ? kMargin + w + gap : kMargin;
    place(scene, photo_panel(*data.latest, wide, tall, true, colours, mm), {x, y});
    items.push_back(Label{{x, y + tall + 15}, short_date(data.latest->date, true), 11, colours.quiet, Anchor::left, false, 0});
    y += tall + 24;
  }
  if (data.course) {
    const auto& course = *data.course;
    const auto& look = course.looks.back();
    const Estimate area = area_estimate(look.area_mm2, std::max(0.0, look.u_mm2));
    y += 34;
    const std::string value = mm2_text(look.area_mm2);
    items.push_back(Label{{kMargin, y}, value, 36, colours.ink, Anchor::left, true, 0});
    const double x = kMargin + text_width(value, 36, true) + 7;
    items.push_back(Label{{x, y}, look.u_mm2 > 0 ? "mm²  (" + range_text(area) + ", 95 %)" : "mm²", 13, colours.quiet, Anchor::left, false, 0});
    y += 28;
    items.push_back(Label{{kMargin, y}, healing::words(course.verdict), 20, colours.ink, Anchor::left, true, 0});
    y += 8;
    for (const auto& reason : course.reasons)
      for (const auto& line : wrapped(reason, 12, kInner)) {
        y += 16.5;
        items.push_back(Label{{kMargin, y}, line, 12, colours.ink, Anchor::left, false, 0});
      }
    y += 18;
    ChartOptions options;
    options.width = kInner + 16;
    options.height = 300;
    options.axis = data.axis;
    options.theme = theme;
    options.text_size = 10.5;
    options.ground = false;
    place(scene, healing_chart(course, data.series, options).scene, {kMargin - 8, y});
    y += options.height;
  } else {
    y += 30;
    items.push_back(Label{{kMargin, y}, "nothing was measured yet", 16, colours.ink, Anchor::left, true, 0});
  }
  y += 22;
  items.push_back(Label{{kMargin, y},
                        "It measures; it does not diagnose. " + short_date(data.made, true) + " · " +
                            (data.program.empty() ? std::string("uroko ") + UROKO_VERSION : data.program),
                        9,
                        colours.quiet,
                        Anchor::left,
                        false,
                        0});
  scene.height = y + kMargin - 8;
  std::get<Fill>(items.front()).points = {{0, 0}, {kWidth, 0}, {kWidth, scene.height}, {0, scene.height}};
  return scene;
}

}  // namespace uroko::report
