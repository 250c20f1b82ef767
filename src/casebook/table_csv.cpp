#include <algorithm>
#include <map>
#include <nlohmann/json.hpp>
#include <set>

#include "casebook/inside.h"
#include "uroko/base/csv.h"
#include "uroko/base/file.h"
#include "uroko/base/text.h"
#include "uroko/casebook/keeping.h"

namespace uroko::casebook {

namespace {

const std::vector<std::string> kColumns = {"record", "fish", "wound", "date", "date_from", "water_c", "event", "product", "note", "weight_g", "weight_method",
                                           "place", "variety", "fish_length_mm", "photo_sha256", "area_mm2", "u_mm2", "low95_mm2", "high95_mm2", "perimeter_mm",
                                           "length_mm", "width_mm", "margin_from", "margin_wkt"};
const std::set<std::string> kText = {"fish", "wound", "event", "product", "note", "weight_method", "place", "variety", "margin_from", "margin_wkt"};

using Cells = std::map<std::string, std::string>;

std::string line_of(const Cells& cells) {
  std::vector<std::string> out;
  for (const auto& column : kColumns) {
    const auto cell = cells.find(column);
    const std::string text = cell == cells.end() ? "" : cell->second;
    out.push_back(kText.contains(column) ? neutralise_formula(text) : text);
  }
  return csv_row(out);
}

std::string text_of(const std::optional<double>& value) { return value ? number_text(*value) : ""; }

}  // namespace

std::string to_csv(const Book& book) {
  std::string out = csv_row(kColumns);
  for (const auto& one : book.everything()) {
    const auto& fish = one.fish;
    out += line_of({{"record", "fish"}, {"fish", fish.name}, {"variety", fish.variety}, {"fish_length_mm", text_of(fish.length_mm)}, {"place", fish.place}, {"note", fish.note}});
    std::map<Id, std::string> wound_names;
    std::set<Id> visits_written;
    for (const auto& wound : one.wounds) {
      wound_names[wound.wound.id] = wound.wound.name;
      for (const auto& look : wound.visits)
        for (const auto& photo : look.photos) {
          Cells cells{{"record", "look"}, {"fish", fish.name}, {"wound", wound.wound.name}, {"date", look.visit.date.iso()}, {"date_from", photo::name(look.visit.date_from)},
                      {"water_c", text_of(look.visit.water_c)}, {"note", look.visit.note}, {"photo_sha256", photo.sha256}};
          if (const auto m = book.latest_measure(photo.id)) {
            for (const auto& [name, value] : {std::pair{"area_mm2", m->area_mm2}, {"u_mm2", m->u_mm2}, {"low95_mm2", m->low95}, {"high95_mm2", m->high95},
                                              {"perimeter_mm", m->perimeter_mm}, {"length_mm", m->length_mm}, {"width_mm", m->width_mm}})
              cells[name] = number_text(value);
            cells["margin_from"] = m->margin_from;
            cells["margin_wkt"] = m->margin_wkt;
          }
          out += line_of(cells);
        }
    }
    for (const auto& visit : one.visits_without_photo)
      out += line_of({{"record", "visit"}, {"fish", fish.name}, {"date", visit.date.iso()}, {"date_from", photo::name(visit.date_from)}, {"water_c", text_of(visit.water_c)}, {"note", visit.note}});
    for (const auto& event : book.events(fish.id))
      out += line_of({{"record", "event"}, {"fish", fish.name}, {"wound", event.wound ? wound_names[*event.wound] : ""}, {"date", event.date.iso()}, {"event", event.kind},
                      {"product", event.product}, {"note", event.note}});
    for (const auto& weight : book.weights(fish.id))
      out += line_of({{"record", "weight"}, {"fish", fish.name}, {"date", weight.date.iso()}, {"weight_g", number_text(weight.grams)}, {"weight_method", weight.method}, {"note", weight.note}});
  }
  for (const auto& reading : book.all<WaterReading>())
    out += line_of({{"record", "water"}, {"date", reading.date.iso()}, {"water_c", number_text(reading.water_c)}, {"place", reading.place}, {"note", reading.note}});
  return out;
}

Imported import_csv(Book& book, const std::filesystem::path& file) {
  const auto fail = [&](std::size_t line, const std::string& happened) {
    throw Error(Fault::input, "csv", file, (line ? "row " + std::to_string(line) + ": " : "") + happened, "correct the table; nothing was imported");
  };
  std::vector<std::vector<std::string>> rows;
  try {
    rows = parse_csv(read_file(file, std::size_t{256} << 20));
  } catch (const std::invalid_argument& e) {
    fail(0, e.what());
  }
  if (rows.empty()) fail(0, "the table is empty");
  const auto& header = rows.front();
  std::set<std::string> seen;
  for (const auto& column : header) {
    if (std::find(kColumns.begin(), kColumns.end(), column) == kColumns.end()) fail(1, "there is no column \"" + column + "\" in a table of this program");
    if (!seen.insert(column).second) fail(1, "the column \"" + column + "\" stands twice");
  }
  if (!seen.contains("fish") && !seen.contains("place")) fail(1, "the column \"fish\" is missing");

  Imported counts;
  Book::Step step(book, "Import " + file.filename().string());
  std::map<std::string, std::vector<Event>> events;
  for (std::size_t k = 1; k < rows.size(); ++k) {
    const auto& row = rows[k];
    if (row.size() != header.size()) fail(k + 1, "it has " + std::to_string(row.size()) + " cells and the header " + std::to_string(header.size()));
    Cells cells;
    for (std::size_t c = 0; c < row.size(); ++c) cells[header[c]] = clean_utf8(kText.contains(header[c]) ? restore_formula(row[c]) : trim(row[c]));
    const auto number = [&](const std::string& column) -> std::optional<double> {
      if (cells[column].empty()) return std::nullopt;
      const auto value = parse_number(cells[column]);
      if (!value) fail(k + 1, column + " \"" + cells[column] + "\" is not a number");
      return value;
    };
    const auto date = [&] {
      const auto value = DateTime::parse(cells["date"]);
      if (!value) fail(k + 1, "the date \"" + cells["date"] + "\" is not an ISO 8601 date such as 2026-03-02");
      return *value;
    };
    auto record = cells["record"];
    if (record.empty())
      record = !cells["event"].empty() ? "event" : !cells["weight_g"].empty() ? "weight" : !cells["photo_sha256"].empty() || !cells["area_mm2"].empty() ? "look" :
               cells["fish"].empty() && !cells["place"].empty() ? "water" : cells["date"].empty() ? "fish" : "visit";
    try {
      if (record == "water") {
        const auto c = number("water_c");
        if (!c) fail(k + 1, "water_c is empty");
        WaterReading reading{0, cells["place"], date(), *c, cells["note"]};
        const auto there = book.water(reading.place);
        if (std::any_of(there.begin(), there.end(), [&](const auto& old) { return values_of(old) == values_of(reading); })) ++counts.known;
        else book.add(reading), ++counts.others;
        continue;
      }
      if (trim(cells["fish"]).empty()) fail(k + 1, "the fish has no name");
      auto fish = book.fish_named(cells["fish"]);
      if (!fish) {
        fish = Fish{};
        fish->name = cells["fish"];
        if (record == "fish") {
          fish->variety = cells["variety"], fish->length_mm = number("fish_length_mm"), fish->place = cells["place"], fish->note = cells["note"];
        }
        book.add(*fish);
        ++counts.fish;
      } else if (record == "fish") {
        ++counts.known;
      }
      if (record == "fish") continue;
      std::optional<Wound> wound;
      if (!cells["wound"].empty()) {
        wound = book.wound_named(fish->id, cells["wound"]);
        if (!wound) {
          wound = Wound{};
          wound->fish = fish->id;
          wound->name = cells["wound"];
          book.add(*wound);
          ++counts.wounds;
        }
      }
      if (record == "event") {
        Event event{0, fish->id, wound ? std::optional(wound->id) : std::nullopt, date(), cells["event"], cells["product"], cells["note"], {}};
        const auto there = book.events(fish->id);
        const bool known = std::any_of(there.begin(), there.end(), [&](const Event& old) {
          return old.wound == event.wound && old.date == event.date && old.kind == event.kind && old.product == event.product && old.note == event.note;
        });
        if (known) ++counts.known;
        else book.add(event), ++counts.others;
      } else if (record == "weight") {
        const auto grams = number("weight_g");
        if (!grams) fail(k + 1, "weight_g is empty");
        // A weight that does not say how it was found is not taken for a weighed one.
        Weight weight{0, fish->id, date(), *grams, seen.contains("weight_method") ? cells["weight_method"] : "not said", cells["note"]};
        const auto there = book.weights(fish->id);
        if (std::any_of(there.begin(), there.end(), [&](const auto& old) { return values_of(old) == values_of(weight); })) ++counts.known;
        else book.add(weight), ++counts.others;
      } else if (record == "look" || record == "visit") {
        Visit visit;
        visit.fish = fish->id, visit.date = date(), visit.note = cells["note"], visit.water_c = number("water_c");
        visit.date_from = photo::date_source_named(cells["date_from"]).value_or(photo::DateSource::user);
        const auto there = book.visits(fish->id);
        if (std::any_of(there.begin(), there.end(), [&](const Visit& old) { return old.date.day_number() == visit.date.day_number(); })) ++counts.known;
        else book.add(visit), ++counts.visits;
        const auto area = number("area_mm2");
        if (!area) continue;
        std::optional<PhotoRow> photo;
        if (wound)
          for (const auto& row_there : book.photos(wound->id))
            if (row_there.sha256 == cells["photo_sha256"]) photo = row_there;
        if (!photo) {
          counts.notes.push_back({"no-photo", "row " + std::to_string(k + 1) + ": the area of " + cells["date"] + " was not taken over because its photo is not in the book"});
          continue;
        }
        MeasureRow measure;
        measure.photo = photo->id;
        measure.area_mm2 = *area, measure.u_mm2 = number("u_mm2").value_or(0);
        measure.low95 = number("low95_mm2").value_or(*area - 1.96 * measure.u_mm2), measure.high95 = number("high95_mm2").value_or(*area + 1.96 * measure.u_mm2);
        measure.perimeter_mm = number("perimeter_mm").value_or(0), measure.length_mm = number("length_mm").value_or(0), measure.width_mm = number("width_mm").value_or(0);
        measure.margin_from = cells["margin_from"].empty() ? "given" : cells["margin_from"], measure.margin_wkt = cells["margin_wkt"];
        measure.options_json = nlohmann::json{{"imported_from", clean_utf8(file.filename().string())}}.dump();
        const auto old = book.measures(photo->id);
        if (std::any_of(old.begin(), old.end(), [&](const MeasureRow& m) { return m.area_mm2 == measure.area_mm2 && m.margin_wkt == measure.margin_wkt; })) ++counts.known;
        else book.add(measure), ++counts.measures;
      } else {
        fail(k + 1, "\"" + record + "\" is not a record of such a table");
      }
    } catch (const Error& e) {
      if (e.fault() == Fault::usage) fail(k + 1, e.happened());
      throw;
    }
  }
  step.commit();
  return counts;
}

}  // namespace uroko::casebook
