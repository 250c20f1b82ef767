// Saying anew what was said wrong: a visit's day, what a photo shows, a wound's name; putting a photo, a wound or a fish aside.
#include "app/book_access.h"
#include "app/typed.h"
#include "uroko/app/session.h"
#include "uroko/base/text.h"

namespace uroko::app {

using casebook::Id;

namespace {

constexpr const char* kDateHelp = "The date must be like 2026-03-19 or 2026-03-19T10:30.";

}  // namespace

void Session::open_visit() {
  const auto* w = current_wound();
  const auto* v = w ? w->visit(visit) : nullptr;
  if (!v || !desk || !desk->place.photo) return;
  const auto* photo = book.find_photo(desk->place.photo);
  if (!photo) return;
  visit_form.emplace();
  auto& f = *visit_form;
  f.photo = photo->row.id;
  f.date = v->visit.date.iso_date();
  f.water = v->visit.water_c ? number_text(*v->visit.water_c) : "";
  f.note = v->visit.note;
  f.fish = current_fish()->fish.name;
  f.wound = w->wound.name;
  f.moment = photo->row.moment;
}

void Session::save_visit() {
  if (!visit_form || !access_) return;
  auto& f = *visit_form;
  f.fault.clear();
  auto date = typed_date(f.date);
  if (!date) f.fault.say(kDateHelp, "visit.date");
  const auto* w = book.find_wound(wound);
  const auto* v = w ? w->visit(visit) : nullptr;
  if (date && !date->has_time && v && v->visit.date.iso_date() == date->iso_date()) date = v->visit.date;  // the day left as it was keeps its time
  if (trim(f.fish).empty()) f.fault.say("Which fish is it? A name or a tag is enough.", "visit.fish.name");
  if (trim(f.wound).empty()) f.fault.say("Which wound is it? The body site is a good name.", "visit.wound.name");
  const auto water = optional_number(f.water, "The water temperature in degrees Celsius", -3, 45, f.fault, "visit.water");
  if (!f.fault.empty()) return;
  auto& store = access_->book;
  try {
    casebook::Book::Step whole(store, "correct a visit");
    auto of = store.fish_named(trim(f.fish));
    if (!of) {
      of.emplace();
      of->name = trim(f.fish);
      store.add(*of);
    }
    auto shown = store.wound_named(of->id, trim(f.wound));
    if (!shown) {
      shown.emplace();
      shown->fish = of->id;
      shown->name = trim(f.wound);
      store.add(*shown);
    }
    auto stored = *store.find<casebook::Visit>(store.move_photo(f.photo, *date, shown->id));
    stored.water_c = water;
    stored.note = trim(f.note);
    store.update(stored);
    auto photo = *store.find<casebook::PhotoRow>(f.photo);
    photo.moment = f.moment;
    store.update(photo);
    whole.commit();
  } catch (const Error& e) {
    if (e.fault() == Fault::usage) return f.fault.say(e.happened() + ". " + e.advice());
    return trouble("Correcting the visit", std::current_exception());
  } catch (...) {
    return trouble("Correcting the visit", std::current_exception());
  }
  visit_form.reset();
  last_change_ = Change::book;
  reread_book();
  follow_desk();
}

void Session::put_photo_aside() {
  if (!access_ || !desk || !desk->place.photo) return;
  const auto place = desk->place;
  try {
    access_->book.put_photo_aside(place.photo);
  } catch (...) {
    return trouble("Putting the photo aside", std::current_exception());
  }
  after_putting_aside("The photo", place.fish, place.wound);
}

void Session::open_wound() {
  const auto* w = current_wound();
  if (!w) return;
  wound_form.emplace();
  wound_form->id = w->wound.id;
  wound_form->name = w->wound.name;
  wound_form->site = w->wound.site;
  wound_form->side = w->wound.side;
  wound_form->traced = w->wound.traced_margin;
  wound_form->closed = w->wound.closed ? w->wound.closed->iso_date() : "";
  wound_form->note = w->wound.note;
}

void Session::save_wound() {
  if (!wound_form || !access_) return;
  auto& f = *wound_form;
  f.fault.clear();
  if (trim(f.name).empty()) f.fault.say("A wound needs a name; the body site is a good one.", "wound.name");
  const auto closed = typed_date(f.closed);
  if (!trim(f.closed).empty() && !closed) f.fault.say("The date must be like 2026-03-19, or empty while it is open.", "wound.closed");
  if (!f.fault.empty()) return;
  try {
    auto row = *access_->book.find<casebook::Wound>(f.id);
    row.name = trim(f.name);
    row.site = trim(f.site);
    row.side = f.side;
    row.traced_margin = f.traced;
    row.closed = closed;
    row.note = trim(f.note);
    access_->book.update(row);
  } catch (const Error& e) {
    if (e.fault() == Fault::usage) return f.fault.say(e.happened() + ". " + e.advice(), "wound.name");
    return trouble("Saving the wound", std::current_exception());
  } catch (...) {
    return trouble("Saving the wound", std::current_exception());
  }
  wound_form.reset();
  last_change_ = Change::book;
  reread_book();
}

void Session::put_wound_aside() {
  if (!access_ || !wound) return;
  const auto of = fish;
  try {
    access_->book.trash<casebook::Wound>(wound);
  } catch (...) {
    return trouble("Putting the wound aside", std::current_exception());
  }
  wound_form.reset();
  after_putting_aside("The wound", of, 0);
}

void Session::put_fish_aside() {
  if (!access_ || !fish) return;
  try {
    access_->book.trash<casebook::Fish>(fish);
  } catch (...) {
    return trouble("Putting the fish aside", std::current_exception());
  }
  fish_form.reset();
  after_putting_aside("The fish", 0, 0);
}

void Session::remove_event(Id id) {
  if (!access_) return;
  try {
    access_->book.trash<casebook::Event>(id);
  } catch (...) {
    return trouble("Putting the entry aside", std::current_exception());
  }
  last_change_ = Change::book;
  reread_fish(fish);
}

void Session::after_putting_aside(const std::string& what, Id of_fish, Id of_wound) {
  last_change_ = Change::book;
  visit_form.reset();
  desk.reset();
  reread_book();
  tell(Notice::Kind::done, what + " is put aside; nothing is deleted.", "Undo (Ctrl+Z) brings it back.");
  visit = 0;
  wound = 0;
  fish = 0;
  if (of_wound && book.find_wound(of_wound)) return select_wound(of_wound);
  if (of_fish && book.find_fish(of_fish)) return select_fish(of_fish);
  if (!book.fish.empty()) return select_fish(book.fish.front().fish.id);
  recompute_course();
}

void Session::follow_desk() {
  if (!desk || !desk->place.photo) return;
  const auto* photo = book.find_photo(desk->place.photo);
  if (!photo) return;
  const auto* w = book.find_wound(photo->row.wound);
  if (!w) return;
  desk->place = {w->wound.fish, photo->row.wound, photo->row.visit, photo->row.id};
  fish = desk->place.fish;
  wound = desk->place.wound;
  visit = desk->place.visit;
  need(fish);
  recompute_course();
}

}  // namespace uroko::app
