#include "uroko/healing/series_csv.h"

#include <map>
#include <set>

#include "uroko/base/csv.h"
#include "uroko/base/error.h"
#include "uroko/base/file.h"
#include "uroko/base/text.h"

namespace uroko::healing {

namespace {

constexpr std::size_t kLargestFile = std::size_t{64} << 20;
constexpr double kColdest = -2, kWarmest = 45;  // degC a fish's water can have

class Rows {
 public:
  Rows(const std::filesystem::path& file) : file_(file) {}
  [[noreturn]] void refuse(int line, const std::string& what, const std::string& advice) const {
    throw Error(Fault::input, "series", file_, "line " + std::to_string(line) + ": " + what, advice);
  }
  /// A number or, for an empty cell, nothing.
  std::optional<double> number(int line, const std::string& column, const std::string& cell) const {
    if (cell.empty()) return std::nullopt;
    const auto value = parse_number(cell);
    if (!value) refuse(line, column + " is \"" + cell.substr(0, 40) + "\", not a number", "write numbers with a point, such as 456.5, or leave the cell empty");
    return value;
  }

 private:
  std::filesystem::path file_;
};

}  // namespace

Series parse_series_csv(std::string_view text, const std::filesystem::path& file, std::vector<Warning>* warnings) {
  const Rows rows(file);
  static const char* heading_advice = "start the file with the heading date,area_mm2,u_mm2 (and, if known, perimeter_mm,water_c,event)";
  if (text.find('\0') != std::string_view::npos) throw Error(Fault::input, "series", file, "this is not a text file", "save the table as CSV (UTF-8, with commas)");
  std::vector<int> lines;
  std::vector<std::vector<std::string>> table;
  try {
    table = parse_csv(text, &lines);
  } catch (const std::invalid_argument& e) {
    throw Error(Fault::input, "series", file, e.what(), "put the quotes right, or save the table as CSV again");
  }
  if (table.empty()) throw Error(Fault::input, "series", file, "the file is empty", heading_advice);

  static const std::set<std::string> known{"date", "area_mm2", "u_mm2", "u_common_mm2", "perimeter_mm", "water_c", "event"};
  std::map<std::string, std::size_t> column;
  std::string ignored;
  for (std::size_t i = 0; i < table[0].size(); ++i) {
    const auto name = lower_ascii(trim(table[0][i]));
    if (!known.count(name)) {
      if (!name.empty()) ignored += (ignored.empty() ? "" : ", ") + name.substr(0, 40);
    } else if (!column.emplace(name, i).second) {
      rows.refuse(lines[0], "the column " + name + " stands there twice", "keep one of them");
    }
  }
  for (const char* needed : {"date", "area_mm2"})
    if (!column.count(needed)) {
      const bool semicolons = table[0].size() == 1 && table[0][0].find(';') != std::string::npos;
      rows.refuse(lines[0], std::string("there is no column ") + needed, semicolons ? "the columns are parted by semicolons; save the table with commas" : heading_advice);
    }
  if (warnings && !ignored.empty()) warnings->push_back({"columns", "these columns are not used: " + ignored});

  Series series;
  for (std::size_t r = 1; r < table.size(); ++r) {
    const auto& row = table[r];
    const int line = lines[r];
    const auto cell = [&](const char* name) {
      const auto c = column.find(name);
      return c == column.end() || c->second >= row.size() ? std::string() : trim(row[c->second]);
    };
    bool blank = true;
    for (const auto& field : row) blank = blank && trim(field).empty();
    if (blank) continue;
    if (row.size() > table[0].size()) rows.refuse(line, "there are " + std::to_string(row.size()) + " cells under " + std::to_string(table[0].size()) + " columns", "a decimal comma or an unquoted comma may have split a cell");
    const auto when = cell("date");
    const auto date = DateTime::parse(when);
    if (!date) rows.refuse(line, "\"" + when.substr(0, 40) + "\" is not a date", "write dates as 2026-03-02, or 2026-03-02T10:14 with the time");
    const auto area = rows.number(line, "area_mm2", cell("area_mm2"));
    const auto u = rows.number(line, "u_mm2", cell("u_mm2")), common = rows.number(line, "u_common_mm2", cell("u_common_mm2"));
    const auto perimeter = rows.number(line, "perimeter_mm", cell("perimeter_mm")), water = rows.number(line, "water_c", cell("water_c"));
    for (const auto& [name, value] : {std::pair{"area_mm2", area}, {"u_mm2", u}, {"u_common_mm2", common}, {"perimeter_mm", perimeter}})
      if (value && (*value < 0 || *value > 1e7)) rows.refuse(line, std::string(name) + " is " + number_text(*value), "give it in mm2 or mm, zero or more");
    if (u && common && *common > *u) rows.refuse(line, "u_common_mm2 is larger than u_mm2", "u_common_mm2 is the part of u_mm2 that all measures share");
    if (water && (*water < kColdest || *water > kWarmest)) rows.refuse(line, "water_c is " + number_text(*water), "give the water temperature in degrees Celsius");
    const auto event = cell("event");
    if (!area && !water && event.empty()) rows.refuse(line, "the row has a date but no area, water temperature or event", "fill in one of them or take the row out");
    if (area) series.looks.push_back({*date, *area, u.value_or(0), perimeter.value_or(0), std::nullopt, u.value_or(0) > 0 ? common.value_or(0) : 0});
    if (water) series.water.push_back({*date, *water});
    for (const auto& part : split(event, ';'))
      if (const auto kind = lower_ascii(trim(part)); !kind.empty()) series.events.push_back({*date, kind, ""});
  }
  return series;
}

Series read_series_csv(const std::filesystem::path& file, std::vector<Warning>* warnings) { return parse_series_csv(read_file(file, kLargestFile), file, warnings); }

}  // namespace uroko::healing
