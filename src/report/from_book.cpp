#include "uroko/report/from_book.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "report/visit_margins.h"
#include "uroko/base/error.h"
#include "uroko/base/text.h"
#include "uroko/casebook/dose.h"
#include "uroko/casebook/measured.h"
#include "uroko/geometry/polygon.h"
#include "uroko/photo/photo.h"
#include "uroko/report/words.h"

namespace uroko::report {
namespace {

using casebook::Book;
using nlohmann::json;

json parsed(const std::string& text) {
  json j = json::parse(text, nullptr, false);
  return j.is_object() || j.is_array() ? j : json::object();
}

std::string word(const json& object, const char* key) {
  return object.is_object() && object.contains(key) && object[key].is_string() ? object[key].get<std::string>() : "";
}

std::string scale_word(const casebook::MeasureRow& m) {
  const json j = parsed(m.scale_json);
  for (const json& place : {j, j.value("map", json::object()), j.value("scale", json::object())})
    for (const char* key : {"kind", "by"})
      if (auto text = word(place, key); !text.empty()) return text;
  return "";
}

SheetPhoto sheet_photo(const Book& book, const casebook::PhotoRow& row, const DateTime& date, const std::optional<casebook::MeasureRow>& m,
                       bool load) {
  SheetPhoto photo;
  photo.date = date;
  if (m)
    if (auto outline = margin_px(*m)) {
      photo.px_per_mm = px_per_mm(*m, *outline);
      photo.outline = std::move(*outline);
    }
  if (!load) return photo;
  try {
    photo.bgr = photo::load(book.photo_file(row.sha256)).bgr;
  } catch (const Error& e) {
    photo.trouble =
        "photo " + (row.original_name.empty() ? row.sha256.substr(0, 12) : row.original_name) + " of " + date.iso_date() + ": " + e.happened();
    photo.outline = {};
  }
  return photo;
}

template <class Row>
bool concerns(const Row& row, casebook::Id wound) {
  return !row.wound || *row.wound == wound;
}

void add_visits(SheetData& data, const std::vector<casebook::VisitSummary>& visits, const Book& book) {
  std::vector<healing::CurvePoint> percent, advance;
  if (data.course) {
    percent = healing::curve(*data.course, healing::Quantity::percent_of_baseline);
    advance = healing::curve(*data.course, healing::Quantity::advance_mm);
  }
  const auto value_at = [](const std::vector<healing::CurvePoint>& points, int look) -> std::optional<Estimate> {
    for (const auto& p : points)
      if (p.look == look) return p.value;
    return std::nullopt;
  };
  for (const auto& v : visits) {
    SheetVisit row;
    row.date = v.visit.date;
    row.date_from = photo::name(v.visit.date_from);
    row.water_c = v.visit.water_c;
    row.note = v.visit.note;
    for (const auto& p : v.photos)
      if (const auto m = book.latest_measure(p.id)) {
        row.scale_kind = scale_word(*m);
        row.method = m->margin_from;
        row.who = word(parsed(m->options_json), "who");
      }
    bool any = false;
    if (data.course) {
      const auto& course = *data.course;
      int baseline = -1;
      for (std::size_t i = 0; i < course.looks.size(); ++i) {
        if (i == 0 || course.segment[i] != course.segment[i - 1]) baseline = static_cast<int>(i);
        const auto& look = course.looks[i];
        if (look.date.day_number() != v.visit.date.day_number()) continue;
        any = true;
        SheetVisit one = row;
        one.area_mm2 = area_estimate(look.area_mm2, std::max(0.0, look.u_mm2));
        one.bed = look.bed;
        one.restart = baseline == static_cast<int>(i) && i > 0;
        const double days = course.days[i] - course.days[static_cast<std::size_t>(baseline)];
        if (baseline != static_cast<int>(i)) {
          if (auto e = value_at(percent, static_cast<int>(i)))
            one.change_percent = Estimate{e->value - 100, e->u, e->low95 - 100, e->high95 - 100, e->dof};
          if (auto e = value_at(advance, static_cast<int>(i)); e && days > 0)
            one.advance_mm_per_day = Estimate{e->value / days, e->u / days, e->low95 / days, e->high95 / days, e->dof};
        }
        if (i < course.doubtful.size() && course.doubtful[i]) one.note += one.note.empty() ? "does not fit the others" : "; does not fit the others";
        data.visits.push_back(std::move(one));
      }
    }
    if (!any) data.visits.push_back(std::move(row));
  }
}

void add_care(SheetData& data, const Book& book, casebook::Id fish, casebook::Id wound) {
  const auto wanted = [&](const DateTime& date) { return !data.last_sheet || date.day_number() >= data.last_sheet->day_number(); };
  for (const auto& e : book.events(fish))
    if (concerns(e, wound) && wanted(e.date))
      data.care.push_back({e.date, e.kind, e.product.empty() ? e.note : e.note.empty() ? e.product : e.product + ": " + e.note});
  std::stable_sort(data.care.begin(), data.care.end(), [](const auto& a, const auto& b) { return before(a.date, b.date); });
  for (const auto& s : book.swabs(fish)) {
    if (!concerns(s, wound)) continue;
    SheetSwab swab{s.taken, "", {}};
    const auto say = [&](const std::string& text) {
      if (!text.empty()) swab.text += (swab.text.empty() ? "" : ", ") + text;
    };
    say(s.site);
    say(s.laboratory);
    say(s.method + (s.temperature_c ? (s.method.empty() ? "" : " at ") + fixed_text(*s.temperature_c, 0) + " °C" : ""));
    if (s.reported) say("reported " + s.reported->iso_date());
    for (const auto& f : book.findings(s.id))
      swab.lines.push_back(f.organism + (f.agent.empty() ? "" : ": " + f.agent + (f.letter.empty() ? "" : " " + f.letter)) +
                           (f.note.empty() ? "" : " (" + f.note + ")"));
    data.swabs.push_back(std::move(swab));
  }
}

// As the vet wrote it, and what it comes to with the last weighed weight; a refusal of the arithmetic is printed in its place.
void add_doses(SheetData& data, const Book& book, casebook::Id fish, casebook::Id wound) {
  for (const auto& p : book.prescriptions(fish)) {
    if (!concerns(p, wound)) continue;
    SheetDose dose;
    dose.title = p.drug + ", written " + p.written.iso_date() + (p.prescriber.empty() ? "" : " by " + p.prescriber);
    std::string as_written;
    const auto say = [&](const std::string& text) { as_written += (as_written.empty() ? "as written: " : ", ") + text; };
    if (p.mg_per_kg) say(number_text(*p.mg_per_kg) + " mg/kg");
    if (p.mg_per_ml) say("solution " + number_text(*p.mg_per_ml) + " mg/mL");
    if (!p.route.empty()) say(p.route);
    if (p.interval_hours) say("every " + number_text(*p.interval_hours) + " h");
    if (p.doses) say(std::to_string(*p.doses) + (*p.doses == 1 ? " dose" : " doses"));
    if (p.stopped) say("stopped " + p.stopped->iso_date());
    if (!as_written.empty()) dose.lines.push_back(as_written);
    if (!p.note.empty()) dose.lines.push_back(p.note);
    casebook::DoseQuestion question;
    if (p.mg_per_kg) question.mg_per_kg = number_text(*p.mg_per_kg);
    if (p.mg_per_ml) question.strength = number_text(*p.mg_per_ml);
    question.weight = book.last_weighed(fish);
    question.on = data.made;
    casebook::DoseLimits limits;
    limits.stale_weight_days = book.setting(casebook::kStaleWeightDays, limits.stale_weight_days);
    if (const auto sheet = casebook::dose(question, limits)) {
      for (const auto& line : sheet->working) dose.lines.push_back(line);
      for (const auto& flag : sheet->flags) dose.lines.push_back("Check: " + flag.text);
    } else {
      dose.lines.push_back("No arithmetic: " + sheet.refusal().text + (sheet.refusal().advice.empty() ? "" : "; " + sheet.refusal().advice));
    }
    data.doses.push_back(std::move(dose));
  }
}

}  // namespace

SheetData sheet_data(const Book& book, casebook::Id wound_id, const SheetChoices& choices) {
  SheetData data;
  const auto everything = book.everything();
  const casebook::FishSummary* fish = nullptr;
  const casebook::WoundSummary* wound = nullptr;
  for (const auto& f : everything)
    for (const auto& w : f.wounds)
      if (w.wound.id == wound_id) fish = &f, wound = &w;
  if (!wound) throw Error(Fault::usage, "no-such-wound", book.folder(), "the case book has no such wound", "look at `uroko book list`");

  data.paper = choices.paper;
  data.axis = choices.axis;
  data.made = choices.made ? *choices.made : DateTime::now();
  data.last_sheet = choices.since;
  data.owner_label = casebook::owner_label(book, fish->fish.id);
  data.fish = fish->fish.name;
  data.variety = fish->fish.variety;
  data.length_mm = fish->fish.length_mm;
  data.wound = wound->wound.name;
  data.site = wound->wound.site;
  data.side = wound->wound.side;
  data.traced_margin = wound->wound.traced_margin;
  if (wound->wound.outline_x && wound->wound.outline_y)
    data.place = KoiPlace{*wound->wound.outline_x, *wound->wound.outline_y};
  else
    data.place = site_place(data.site.empty() ? data.wound : data.site);
  if (const auto weight = book.last_weighed(fish->fish.id)) {
    data.weight_g = weight->grams;
    data.weighed = weight->date;
  }
  data.series = book.series_of(wound_id);
  if (!data.series.looks.empty()) data.course = healing::follow(data.series);
  add_visits(data, wound->visits, book);
  add_care(data, book, fish->fish.id, wound_id);
  add_doses(data, book, fish->fish.id, wound_id);

  const casebook::PhotoRow *first = nullptr, *latest = nullptr;
  DateTime first_date, latest_date;
  std::vector<VisitMargin> margins;
  std::optional<casebook::MeasureRow> first_measure, latest_measure;
  for (const auto& v : wound->visits) {
    bool margin_kept = false;
    for (const auto& p : v.photos) {
      const auto m = book.latest_measure(p.id);
      if (!m) continue;
      data.files.push_back({v.visit.date, p.original_name.empty() ? "photo" + p.extension : p.original_name, p.sha256});
      if (!margin_kept)
        if (auto outline = margin_mm(*m)) {
          margins.push_back({v.visit.date, book.photo_file(p.sha256), *m, std::move(*outline)});
          margin_kept = true;
        }
      if (!first) first = &p, first_date = v.visit.date, first_measure = m;
      latest = &p, latest_date = v.visit.date, latest_measure = m;
    }
  }
  place_margins(data, margins, choices.photos && choices.by_skin);
  for (const auto& w : fish->wounds) {
    if (w.wound.id == wound_id) continue;
    std::string text = w.wound.name;
    for (auto v = w.visits.rbegin(); v != w.visits.rend(); ++v)
      if (v->area_mm2) {
        text += ", " + mm2_text(v->area_mm2->value) + " mm² on " + short_date(v->visit.date, true);
        break;
      }
    data.other_wounds.push_back(w.wound.closed ? text + ", closed" : text);
  }
  if (!latest)
    for (const auto& v : wound->visits)
      for (const auto& p : v.photos) latest = &p, latest_date = v.visit.date;
  if (first && first != latest) data.first = sheet_photo(book, *first, first_date, first_measure, choices.photos);
  if (latest) data.latest = sheet_photo(book, *latest, latest_date, latest_measure, choices.photos);
  if (latest_measure)
    for (const auto& w : parsed(latest_measure->warnings_json))
      if (const auto text = word(w, "text"); !text.empty()) data.cautions.push_back("Latest photo: " + text);
  return data;
}

}  // namespace uroko::report
