// Saying anew what was said wrong: a visit's day, what a photo shows, a wound's name; putting a photo, a wound or a fish aside.
#include "app/book_access.h"
#include "app/typed.h"
#include "app/write_form.h"
#include "uroko/app/session.h"
#include "uroko/base/text.h"

namespace uroko::app {

using casebook::Id;

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
  if (!visit_form || !access_ || visit_form->write) return;
  auto& f = *visit_form;
  f.fault.clear();
  auto date = needed_date(f.date, f.fault, "visit.date");
  const auto* w = book.find_wound(wound);
  const auto* v = w ? w->visit(visit) : nullptr;
  if (date && !date->has_time && v && v->visit.date.iso_date() == date->iso_date()) date = v->visit.date;  // the day left as it was keeps its time
  need_names(f.fish, "visit.fish.name", f.wound, "visit.wound.name", f.fault);
  const auto water = optional_number(f.water, "The water temperature in degrees Celsius", casebook::kLeastWaterC, casebook::kMostWaterC, f.fault, "visit.water");
  if (!f.fault.empty()) return;
  Write save;
  save.label = "Saving the visit";
  save.what = "the correction of the visit of " + date->iso_date();
  // What was not changed here is not said over what another visit of that day says.
  const bool new_water = !v || water != v->visit.water_c, new_note = !v || trim(f.note) != v->visit.note;
  save.work = [typed = f, date = *date, water, new_water, new_note](casebook::Book& b, const Token&) {
    casebook::Book::Step whole(b, "correct a visit");
    const auto shown = b.wound_or_new(b.fish_or_new(trim(typed.fish)).id, trim(typed.wound));
    auto stored = b.find<casebook::Visit>(b.move_photo(typed.photo, date, shown.id)).value();
    if (new_water) stored.water_c = water;
    if (new_note) stored.note = trim(typed.note);
    b.update(stored);
    auto photo = b.find<casebook::PhotoRow>(typed.photo).value();
    photo.moment = typed.moment;
    b.update(photo);
    whole.commit();
  };
  save.done = [this] { follow_desk(); };
  write_form(std::move(save), visit_form);
}

void Session::put_photo_aside() {
  if (!access_ || !desk || !desk->place.photo) return;
  const auto place = desk->place;
  put_aside("The photo", [photo = place.photo](casebook::Book& b) { b.put_photo_aside(photo); }, place.fish, place.wound);
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
  if (!wound_form || !access_ || wound_form->write) return;
  auto& f = *wound_form;
  f.fault.clear();
  if (trim(f.name).empty()) f.fault.say("A wound needs a name; the body site is a good one.", "wound.name");
  const auto closed = typed_date(f.closed);
  if (!trim(f.closed).empty() && !closed) f.fault.say("The date must be like 2026-03-19, or empty while it is open.", "wound.closed");
  if (!f.fault.empty()) return;
  Write save;
  save.label = "Saving the wound";
  save.what = "the wound " + trim(f.name);
  save.work = [typed = f, closed](casebook::Book& b, const Token&) {
    auto row = b.find<casebook::Wound>(typed.id).value();
    row.name = trim(typed.name);
    row.site = trim(typed.site);
    row.side = typed.side;
    row.traced_margin = typed.traced;
    row.closed = closed;
    row.note = trim(typed.note);
    b.update(row);
  };
  write_form(std::move(save), wound_form, "wound.name");
}

void Session::put_wound_aside() {
  if (!access_ || !wound) return;
  put_aside("The wound", [id = wound](casebook::Book& b) { b.trash<casebook::Wound>(id); }, fish, 0);
}

void Session::put_fish_aside() {
  if (!access_ || !fish) return;
  put_aside("The fish", [id = fish](casebook::Book& b) { b.trash<casebook::Fish>(id); }, 0, 0);
}

void Session::remove_event(Id id) {
  if (!access_) return;
  Write w;
  w.label = "Putting the entry aside";
  w.what = "that the entry in the care log is put aside";
  w.work = [id](casebook::Book& b, const Token&) { b.trash<casebook::Event>(id); };
  last_change_ = Change::book;
  write(std::move(w));
}

/// Its form and its photo stay until the book holds it; then what is next to it is shown.
void Session::put_aside(const std::string& what, std::function<void(casebook::Book&)> work, Id of_fish, Id of_wound) {
  Write w;
  w.label = "Putting aside";
  w.what = lower_ascii(what) + " put aside";
  w.work = [work = std::move(work)](casebook::Book& b, const Token&) { work(b); };
  w.done = [this, what, of_fish, of_wound, of_desk = desk ? desk->id : 0] {
    tell(Notice::Kind::done, what + " is put aside; nothing is deleted.", "Undo (Ctrl+Z) brings it back.");
    if (desk && desk->id != of_desk && book.find_photo(desk->place.photo)) return;  // the person looks at something else by now
    visit_form.reset();
    wound_form.reset();
    fish_form.reset();
    desk.reset();
    visit = 0;
    wound = 0;
    fish = 0;
    if (of_wound && book.find_wound(of_wound)) return select_wound(of_wound);
    if (of_fish && book.find_fish(of_fish)) return select_fish(of_fish);
    if (!book.fish.empty()) return select_fish(book.fish.front().fish.id);
    recompute_course();
  };
  last_change_ = Change::book;
  write(std::move(w));
}

void Session::follow_desk() {
  if (!desk || !desk->place.photo) return;
  const auto* photo = book.find_photo(desk->place.photo);
  const auto* w = photo ? book.find_wound(photo->row.wound) : nullptr;
  if (!w) return;
  desk->place = {w->wound.fish, photo->row.wound, photo->row.visit, photo->row.id};
  fish = desk->place.fish;
  wound = desk->place.wound;
  visit = desk->place.visit;
  with_fish(fish, [this, of = desk->id] {
    if (!desk || desk->id != of) return;
    // The accepted revision may have gone or come back.
    desk->accepted.reset();
    if (const auto* row = accepted_row(); row && row->margin_wkt == to_wkt(desk->history.now().outline(), 4)) desk->accepted = desk->history.id();
    autosave();
    recompute_course();
  });
}

}  // namespace uroko::app
