#pragma once
#include <CLI/CLI.hpp>
#include <nlohmann/json.hpp>

#include "uroko/healing/series.h"

namespace uroko::cli {

struct ChartChoice {
  std::string chart, axis = "days";
  bool dark = false;
};
void add_chart_choice(CLI::App& verb, ChartChoice& choice);
void write_chart(const healing::Course& course, const healing::Series& series, const ChartChoice& choice);

/// The contract's JSON of a course, and the same for people; one form for `curve` and `book curve`.
nlohmann::ordered_json course_json(const healing::Course& course);
void print_course(const healing::Course& course);

}  // namespace uroko::cli
