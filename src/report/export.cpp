#include "uroko/report/export.h"

#include <nlohmann/json.hpp>

#include "uroko/base/csv.h"
#include "uroko/base/text.h"
#include "uroko/geometry/polygon.h"
#include "uroko/healing/series.h"
#include "uroko/report/from_book.h"

namespace uroko::report {
namespace {

using casebook::Book;
using json = nlohmann::ordered_json;

template <class T>
json or_null(const std::optional<T>& value) {
  return value ? json(*value) : json(nullptr);
}
json date_or_null(const std::optional<DateTime>& value) { return value ? json(value->iso()) : json(nullptr); }

json raw(const std::string& text) {
  json j = json::parse(text, nullptr, false);
  return j.is_discarded() ? json(nullptr) : j;
}

json measure_json(const casebook::MeasureRow& m) {
  return {{"made", m.made.iso()},           {"revision", m.revision},
          {"program", m.program},           {"area_mm2", {{"value", m.area_mm2}, {"u", m.u_mm2}, {"low95", m.low95}, {"high95", m.high95}}},
          {"perimeter_mm", m.perimeter_mm}, {"length_mm", m.length_mm},
          {"width_mm", m.width_mm},         {"margin", {{"from", m.margin_from}, {"traced", m.traced}, {"wkt", m.margin_wkt}}},
          {"scale", raw(m.scale_json)},     {"budget", raw(m.budget_json)},
          {"bed", raw(m.bed_json)},         {"warnings", raw(m.warnings_json)}};
}

json course_json(const healing::Series& series) {
  if (series.looks.empty()) return nullptr;
  const auto course = healing::follow(series);
  const auto interval = [](const std::optional<Estimate>& e) {
    return e ? json{{"value", e->value}, {"low95", e->low95}, {"high95", e->high95}} : json(nullptr);
  };
  json out{{"verdict", healing::words(course.verdict)},
           {"reasons", course.reasons},
           {"baseline", course.baseline < 0 ? json(nullptr) : json(course.looks[static_cast<std::size_t>(course.baseline)].date.iso())},
           {"change_percent", interval(course.change_percent)},
           {"advance_mm_per_day", interval(course.advance_mm_per_day)},
           {"closure", nullptr}};
  if (course.closure) out["closure"] = {{"earliest", course.closure->earliest.iso_date()}, {"latest", course.closure->latest.iso_date()}};
  return out;
}

}  // namespace

std::string book_json(const Book& book) {
  json fish = json::array();
  for (const auto& f : book.everything()) {
    json wounds = json::array(), events = json::array(), weights = json::array(), swabs = json::array();
    std::map<casebook::Id, std::string> names;
    for (const auto& w : f.wounds) {
      names[w.wound.id] = w.wound.name;
      json visits = json::array();
      for (const auto& v : w.visits) {
        json photos = json::array();
        for (const auto& p : v.photos) {
          const auto m = book.latest_measure(p.id);
          photos.push_back({{"sha256", p.sha256},
                            {"name", p.original_name},
                            {"width_px", p.width_px},
                            {"height_px", p.height_px},
                            {"taken", date_or_null(p.taken)},
                            {"taken_from", photo::name(p.taken_from)},
                            {"measure", m ? measure_json(*m) : json(nullptr)}});
        }
        visits.push_back({{"date", v.visit.date.iso()},
                          {"date_from", photo::name(v.visit.date_from)},
                          {"water_c", or_null(v.visit.water_c)},
                          {"note", v.visit.note},
                          {"photos", photos}});
      }
      wounds.push_back({{"name", w.wound.name},
                        {"site", w.wound.site},
                        {"side", w.wound.side},
                        {"traced_margin", w.wound.traced_margin},
                        {"closed", date_or_null(w.wound.closed)},
                        {"visits", visits},
                        {"course", course_json(book.series_of(w.wound.id))}});
    }
    const auto wound_name = [&](const std::optional<casebook::Id>& id) { return id && names.contains(*id) ? json(names[*id]) : json(nullptr); };
    for (const auto& e : book.events(f.fish.id))
      events.push_back({{"date", e.date.iso()}, {"wound", wound_name(e.wound)}, {"kind", e.kind}, {"product", e.product}, {"note", e.note}});
    for (const auto& w : book.weights(f.fish.id)) weights.push_back({{"date", w.date.iso()}, {"grams", w.grams}, {"method", w.method}});
    for (const auto& s : book.swabs(f.fish.id)) {
      json findings = json::array();
      for (const auto& finding : book.findings(s.id))
        findings.push_back({{"organism", finding.organism}, {"agent", finding.agent}, {"letter", finding.letter}});
      swabs.push_back({{"taken", s.taken.iso()},
                       {"wound", wound_name(s.wound)},
                       {"site", s.site},
                       {"laboratory", s.laboratory},
                       {"method", s.method},
                       {"temperature_c", or_null(s.temperature_c)},
                       {"reported", date_or_null(s.reported)},
                       {"findings", findings}});
    }
    fish.push_back({{"name", f.fish.name},
                    {"variety", f.fish.variety},
                    {"length_mm", or_null(f.fish.length_mm)},
                    {"place", f.fish.place},
                    {"wounds", wounds},
                    {"events", events},
                    {"weights", weights},
                    {"swabs", swabs}});
  }
  json out{{"format", "uroko case book record"}, {"format_version", 1}, {"program", std::string("uroko ") + UROKO_VERSION}, {"fish", fish}};
  return out.dump(1, ' ', false, json::error_handler_t::replace) + "\n";
}

std::string outlines_csv(const Book& book) {
  std::string out = csv_row({"fish", "wound", "date", "photo_sha256", "area_mm2", "margin_from", "wkt_px", "wkt_mm"});
  for (const auto& f : book.everything())
    for (const auto& w : f.wounds)
      for (const auto& v : w.visits)
        for (const auto& p : v.photos) {
          const auto m = book.latest_measure(p.id);
          if (!m || m->margin_wkt.empty()) continue;
          const auto mm = margin_mm(*m);
          out += csv_row({neutralise_formula(f.fish.name), neutralise_formula(w.wound.name), v.visit.date.iso(), p.sha256, number_text(m->area_mm2),
                          m->margin_from, m->margin_wkt, mm ? to_wkt(*mm, 4) : ""});
        }
  return out;
}

std::string data_dictionary_csv() {
  static const char* const rows[][4] = {
      {"book", "record", "", "what the row is: fish, look, visit, event, weight or water"},
      {"book", "fish", "", "name or tag of the fish"},
      {"book", "wound", "", "name of the wound; empty where the row concerns the whole fish"},
      {"book", "date", "ISO 8601", "local civil date of the visit, event or reading, with the time where it is known"},
      {"book", "date_from", "", "where the date came from: user, exif, exif-digitised, file-name, file-time, none"},
      {"book", "water_c", "degC", "water temperature"},
      {"book", "event", "", "kind of care: cleaning, debridement, topical, injection, sealing, swab, water change, ..."},
      {"book", "product", "", "what was used, as written"},
      {"book", "note", "", "free text"},
      {"book", "weight_g", "g", "weight of the fish"},
      {"book", "weight_method", "", "weighed, estimated, or as written"},
      {"book", "place", "", "pond or tank"},
      {"book", "variety", "", "variety of the koi"},
      {"book", "fish_length_mm", "mm", "length of the fish"},
      {"book", "photo_sha256", "hex", "SHA-256 of the original photo file"},
      {"book", "area_mm2", "mm2", "wound area, surface of the flank"},
      {"book", "u_mm2", "mm2", "its standard uncertainty (JCGM 100:2008)"},
      {"book", "low95_mm2", "mm2", "lower end of the 95 % interval"},
      {"book", "high95_mm2", "mm2", "upper end of the 95 % interval"},
      {"book", "perimeter_mm", "mm", "length of the margin"},
      {"book", "length_mm", "mm", "longest caliper (Feret) length of the wound"},
      {"book", "width_mm", "mm", "widest extent across the length"},
      {"book", "margin_from", "", "given, loop, seed or auto"},
      {"book", "margin_wkt", "px", "OGC WKT of the margin in photo pixels after EXIF orientation, pixel centres at integers, y down"},
      {"outlines", "fish", "", "as in the book's table"},
      {"outlines", "wound", "", "as in the book's table"},
      {"outlines", "date", "ISO 8601", "date of the visit"},
      {"outlines", "photo_sha256", "hex", "SHA-256 of the original photo file"},
      {"outlines", "area_mm2", "mm2", "wound area as reported"},
      {"outlines", "margin_from", "", "given, loop, seed or auto"},
      {"outlines", "wkt_px", "px", "OGC WKT in photo pixels, as margin_wkt"},
      {"outlines", "wkt_mm", "mm", "OGC WKT on the scale reference's plane, scaled to the reported area; empty when the scale was not kept"}};
  std::string out = csv_row({"file", "column", "unit", "meaning"});
  for (const auto& row : rows) out += csv_row({row[0], row[1], row[2], row[3]});
  return out;
}

}  // namespace uroko::report
