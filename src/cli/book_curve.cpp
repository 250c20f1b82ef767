#include "cli/book.h"
#include "cli/course.h"
#include "uroko/base/error.h"

namespace uroko::cli {

using namespace casebook;

void add_book_curve(CLI::App& book) {
  struct CurveOptions : BookOptions, ChartChoice {
    std::string fish, wound;
    double base_c = 0;
  };
  std::shared_ptr<CurveOptions> options;
  auto* verb = book_verb(book, "curve", "The healing curve of a wound: change, margin advance, verdict", options);
  verb->add_option("--fish", options->fish, "Name or tag of the fish")->required();
  verb->add_option("--wound", options->wound, "Name of the wound")->required();
  verb->add_option("--base", options->base_c, "Base temperature of the degree-days, °C (a convention; default 0)")->option_text("CELSIUS")->check(CLI::Range(-5.0, 40.0));
  add_chart_choice(*verb, *options);
  verb->footer("It measures and does arithmetic; it does not diagnose and recommends no treatment.");
  verb->callback([=] {
    const auto opened = open_book(*options, Access::read);
    const auto wound = need_wound(opened, need_fish(opened, options->fish), options->wound);
    const auto series = opened.series_of(wound.id);
    if (series.looks.empty())
      throw Error(Fault::not_measured, "no-measure", opened.folder(), "no photo of " + options->fish + ", " + options->wound + " is measured", "measure them: uroko book measure");
    healing::CourseOptions course_options;
    course_options.degree_day_base_c = options->base_c;
    course_options.today = DateTime::now();
    const auto course = healing::follow(series, course_options);
    if (!options->chart.empty()) write_chart(course, series, *options);
    if (options->as_json) print(course_json(course));
    else print_course(course);
  });
}

}  // namespace uroko::cli
