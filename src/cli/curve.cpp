#include <cstdio>
#include <nlohmann/json.hpp>

#include "cli/cli.h"
#include "cli/course.h"
#include "uroko/base/error.h"
#include "uroko/base/file.h"
#include "uroko/base/text.h"
#include "uroko/healing/series_csv.h"
#include "uroko/report/chart.h"

namespace uroko::cli {

namespace {

using nlohmann::json;
using healing::Course;

struct CurveOptions : ChartChoice {
  std::string file;
  bool as_json = false;
  double base_c = 0;
};

json interval(const std::optional<Estimate>& e) {
  if (!e) return nullptr;
  return {{"value", e->value}, {"low95", e->low95}, {"high95", e->high95}};
}

template <class T>
json or_null(const std::optional<T>& value) {
  return value ? json(*value) : json(nullptr);
}

int visits(const Course& course) {
  int days = 0;
  long previous = 0;
  for (const auto& look : course.looks) {
    const long day = look.date.day_number();
    if (!days || day != previous) ++days;
    previous = day;
  }
  return days;
}

}  // namespace

nlohmann::ordered_json course_json(const Course& course) {
  nlohmann::ordered_json out;
  const auto& baseline = course.looks[course.baseline];
  out["baseline"] = {{"date", baseline.date.iso_date()}, {"area_mm2", baseline.area_mm2}};
  out["visits"] = visits(course);
  out["days"] = course.span_days;
  out["degree_days"] = or_null(course.span_degree_days);
  out["change_percent"] = interval(course.change_percent);
  out["advance_mm_per_day"] = interval(course.advance_mm_per_day);
  out["verdict"] = healing::words(course.verdict);
  out["reasons"] = course.reasons;
  for (const auto& warning : course.warnings)
    if (warning.code != "doubtful") out["reasons"].push_back(warning.text);  // the doubtful look stands among the reasons already
  out["closure"] = nullptr;
  if (course.closure) out["closure"] = {{"earliest", course.closure->earliest.iso_date()}, {"latest", course.closure->latest.iso_date()}};
  return out;
}

namespace {
std::string padded(const std::string& text, std::size_t width) { return text.size() < width ? std::string(width - text.size(), ' ') + text : text; }

}  // namespace

void print_course(const Course& course) {
  std::printf("%-10s %10s %10s %8s %8s %12s\n", "date", "area mm2", "u mm2", "day", "deg-days", "of baseline");
  const auto relative = healing::curve(course, healing::Quantity::percent_of_baseline);
  for (std::size_t i = 0; i < course.looks.size(); ++i) {
    if (i && course.segment[i] != course.segment[i - 1]) std::printf("---------- debridement: the baseline restarts\n");
    const auto& look = course.looks[i];
    std::string share = "-";
    for (const auto& point : relative)
      if (point.look == static_cast<int>(i)) share = fixed_text(point.value.value, 1) + " %";
    std::printf("%-10s %s %s %s %s %s%s\n", look.date.iso_date().c_str(), padded(fixed_text(look.area_mm2, 1), 10).c_str(),
                padded(look.u_mm2 > 0 ? fixed_text(look.u_mm2, 1) : "-", 10).c_str(), padded(fixed_text(course.days[i], 1), 8).c_str(),
                padded(course.degree_days[i] ? fixed_text(*course.degree_days[i], 0) : "-", 8).c_str(), padded(share, 12).c_str(),
                course.doubtful[i] ? "  does not fit" : static_cast<int>(i) == course.baseline ? "  baseline" : "");
  }
  std::printf("\nVerdict: %s\n", healing::words(course.verdict));
  for (const auto& reason : course.reasons) std::printf("  - %s\n", reason.c_str());
  if (course.half_time_days)
    std::printf("  - at this rate the area halves in %s days (%s to %s)\n", fixed_text(course.half_time_days->value, 0).c_str(), fixed_text(course.half_time_days->low95, 0).c_str(),
                fixed_text(course.half_time_days->high95, 0).c_str());
  for (const auto& warning : course.warnings)
    if (warning.code != "doubtful") std::printf("Note: %s\n", warning.text.c_str());
}

void write_chart(const Course& course, const healing::Series& series, const ChartChoice& options) {
  report::ChartOptions chart;
  chart.axis = options.axis == "dates" ? report::TimeAxis::dates : options.axis == "degree-days" ? report::TimeAxis::degree_days : report::TimeAxis::days;
  chart.theme = options.dark ? report::Theme::dark : report::Theme::light;
  report::About about;
  about.title = "Healing curve";
  about.subject = std::string("Wound area over time: ") + healing::words(course.verdict);
  const std::string extension = lower_ascii(std::filesystem::path(options.chart).extension().string());
  write_file_whole(options.chart, report::paint(report::healing_chart(course, series, chart).scene, extension, about));
}

void add_chart_choice(CLI::App& verb, ChartChoice& choice) {
  verb.add_option("--chart", choice.chart, "Draw the curve with its events and water temperatures")->option_text("OUT.svg|OUT.png|OUT.pdf");
  verb.add_option("--axis", choice.axis, "Time axis of the chart")->check(CLI::IsMember({"days", "dates", "degree-days"}))->option_text("days|dates|degree-days");
  verb.add_flag("--dark", choice.dark, "Draw the chart for a dark ground");
}

namespace {

void run_curve(const CurveOptions& options) {
  std::vector<Warning> notes;
  const auto series = healing::read_series_csv(options.file, &notes);
  if (series.looks.empty()) throw Error(Fault::not_measured, "no-measure", options.file, "the series holds no measure", "add a row with a date and an area_mm2");
  healing::CourseOptions course_options;
  course_options.degree_day_base_c = options.base_c;
  course_options.today = DateTime::now();
  auto course = healing::follow(series, course_options);
  course.warnings.insert(course.warnings.end(), notes.begin(), notes.end());
  if (!options.chart.empty()) write_chart(course, series, options);
  if (options.as_json) std::printf("%s\n", course_json(course).dump(2).c_str());
  else print_course(course);
}

}  // namespace

void add_curve(CLI::App& app) {
  auto* verb = app.add_subcommand("curve", "Follow a wound through a table of measures: change, margin advance, verdict");
  auto options = std::make_shared<CurveOptions>();
  verb->add_option("SERIES", options->file, "Columns date, area_mm2, u_mm2 and if known perimeter_mm, water_c, event")->option_text("SERIES.csv")->required();
  verb->add_flag("--json", options->as_json, "Print one JSON value");
  verb->add_option("--base", options->base_c, "Base temperature of the degree-days, °C (a convention; default 0)")->option_text("CELSIUS")->check(CLI::Range(-5.0, 40.0));
  add_chart_choice(*verb, *options);
  verb->footer("A row with `debridement` as its event restarts the baseline.\nIt measures and does arithmetic; it does not diagnose and recommends no treatment.");
  verb->callback([=] { run_curve(*options); });
}

}  // namespace uroko::cli
