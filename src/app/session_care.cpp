// The care log and the fish: what is typed becomes rows.
#include <algorithm>

#include "app/book_access.h"
#include "app/typed.h"
#include "app/write_form.h"
#include "uroko/app/session.h"
#include "uroko/base/error.h"
#include "uroko/base/text.h"

namespace uroko::app {

void Session::open_log() {
  log_form.emplace();
  log_form->date = current_wound() && current_wound()->visit(visit) ? current_wound()->visit(visit)->visit.date.iso_date() : DateTime::now().iso_date();
}

void Session::save_log() {
  if (!log_form || !access_ || log_form->write) return;
  auto& f = *log_form;
  f.fault.clear();
  const auto date = needed_date(f.date, f.fault, "log.date");
  Write w;
  w.label = "Saving the care log";
  w.what = "the entry in the care log, " + f.kind + (date ? " of " + date->iso_date() : "");
  if (f.fault.empty() && f.kind == "water temperature") {
    const auto v = optional_number(f.water, "The water temperature in degrees Celsius", casebook::kLeastWaterC, casebook::kMostWaterC, f.fault, "log.water");
    if (!v) f.fault.say("What is the water temperature?", "log.water");
    if (v)
      w.work = [of = fish, date = *date, celsius = *v](casebook::Book& b, const Token&) {
        casebook::Book::Step whole(b, "note the water temperature");
        auto stored = b.find<casebook::Fish>(of).value();
        if (stored.place.empty()) {
          stored.place = "pond of " + stored.name;
          b.update(stored);
        }
        casebook::WaterReading reading;
        reading.place = stored.place;
        reading.date = date;
        reading.water_c = celsius;
        b.add(reading);
        whole.commit();
      };
  } else if (f.fault.empty() && f.kind == "weight") {
    const auto v = optional_number(f.weight, "The weight in grams", 1, 100000, f.fault, "log.weight");
    if (!v) f.fault.say("What do the scales say?", "log.weight");
    if (v) {
      casebook::Weight row;
      row.fish = fish;
      row.date = *date;
      row.grams = *v;
      w.work = [row](casebook::Book& b, const Token&) mutable { b.add(row); };
    }
  } else if (f.fault.empty()) {
    casebook::Event event;
    event.fish = fish;
    if (wound && !f.whole_fish) event.wound = wound;
    event.date = *date;
    event.kind = f.kind;
    event.note = trim(f.note);
    w.work = [event](casebook::Book& b, const Token&) mutable { b.add(event); };
  }
  if (!f.fault.empty()) return;
  write_form(std::move(w), log_form);
}

void Session::open_fish() {
  const auto* f = current_fish();
  if (!f) return;
  fish_form.emplace();
  fish_form->id = f->fish.id;
  fish_form->name = f->fish.name;
  fish_form->variety = f->fish.variety;
  fish_form->length = f->fish.length_mm ? number_text(*f->fish.length_mm) : "";
  fish_form->note = f->fish.note;
}

void Session::save_fish() {
  if (!fish_form || !access_ || fish_form->write) return;
  auto& f = *fish_form;
  f.fault.clear();
  if (trim(f.name).empty()) f.fault.say("A fish needs a name or a tag.", "fish.name");
  const auto length = optional_number(f.length, "The length in mm", 10, 2000, f.fault, "fish.length");
  if (!f.fault.empty()) return;
  casebook::Fish typed;
  typed.name = trim(f.name);
  typed.variety = trim(f.variety);
  typed.length_mm = length;
  typed.note = f.note;
  Write w;
  w.label = "Saving the fish";
  w.what = "the fish " + typed.name;
  w.work = [typed, id = f.id](casebook::Book& b, const Token&) {
    auto row = id ? b.find<casebook::Fish>(id).value() : casebook::Fish{};
    row.name = typed.name;
    row.variety = typed.variety;
    row.length_mm = typed.length_mm;
    row.note = typed.note;
    if (id)
      b.update(row);
    else
      b.add(row);
  };
  write_form(std::move(w), fish_form, "fish.name");
}

}  // namespace uroko::app
