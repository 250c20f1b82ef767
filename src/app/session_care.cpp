// The care log and the fish: what is typed becomes rows.
#include <algorithm>
#include <exception>

#include "app/book_access.h"
#include "app/typed.h"
#include "uroko/app/session.h"
#include "uroko/base/error.h"
#include "uroko/base/text.h"

namespace uroko::app {

void Session::open_log() {
  log_form.emplace();
  log_form->date = current_wound() && current_wound()->visit(visit) ? current_wound()->visit(visit)->visit.date.iso_date() : DateTime::now().iso_date();
}

void Session::save_log() {
  if (!log_form || !access_) return;
  auto& f = *log_form;
  f.fault.clear();
  const auto date = typed_date(f.date);
  if (!date) f.fault.say("The date must be like 2026-03-19 or 2026-03-19T10:30.", "log.date");
  try {
    if (f.fault.empty() && f.kind == "water temperature") {
      const auto v = optional_number(f.water, "The water temperature in degrees Celsius", -2, 45, f.fault, "log.water");
      if (!v) f.fault.say("What is the water temperature?", "log.water");
      if (v) {
        casebook::Book::Step whole(access_->book, "note the water temperature");
        auto stored = *access_->book.find<casebook::Fish>(fish);
        if (stored.place.empty()) {
          stored.place = "pond of " + stored.name;
          access_->book.update(stored);
        }
        casebook::WaterReading reading;
        reading.place = stored.place;
        reading.date = *date;
        reading.water_c = *v;
        access_->book.add(reading);
        whole.commit();
      }
    } else if (f.fault.empty() && f.kind == "weight") {
      const auto v = optional_number(f.weight, "The weight in grams", 1, 100000, f.fault, "log.weight");
      if (!v) f.fault.say("What do the scales say?", "log.weight");
      if (v) {
        casebook::Weight row;
        row.fish = fish;
        row.date = *date;
        row.grams = *v;
        access_->book.add(row);
      }
    } else if (f.fault.empty()) {
      casebook::Event event;
      event.fish = fish;
      if (wound && !f.whole_fish) event.wound = wound;
      event.date = *date;
      event.kind = f.kind;
      event.note = trim(f.note);
      access_->book.add(event);
    }
  } catch (...) {
    return trouble("Saving the care log", std::current_exception());
  }
  if (!f.fault.empty()) return;
  log_form.reset();
  last_change_ = Change::book;
  reread_fish(fish);
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
  if (!fish_form || !access_) return;
  auto& f = *fish_form;
  f.fault.clear();
  if (trim(f.name).empty()) f.fault.say("A fish needs a name or a tag.", "fish.name");
  const auto length = optional_number(f.length, "The length in mm", 10, 2000, f.fault, "fish.length");
  if (!f.fault.empty()) return;
  try {
    auto row = f.id ? *access_->book.find<casebook::Fish>(f.id) : casebook::Fish{};
    row.name = trim(f.name);
    row.variety = trim(f.variety);
    row.length_mm = length;
    row.note = f.note;
    if (f.id)
      access_->book.update(row);
    else
      access_->book.add(row);
  } catch (const Error& e) {
    f.fault.say(e.happened() + ". " + e.advice());
    return;
  } catch (...) {
    return trouble("Saving the fish", std::current_exception());
  }
  fish_form.reset();
  last_change_ = Change::book;
  reread_book();
}

}  // namespace uroko::app
