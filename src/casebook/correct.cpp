// What was said of a photo when it was taken in, said anew.
#include "casebook/inside.h"
#include "casebook/tables.h"
#include "uroko/base/text.h"
#include "uroko/casebook/book.h"

namespace uroko::casebook {

namespace {

/// What a visit without photos still says goes to the other one, where that says nothing.
void merge(Visit& into, const Visit& from) {
  if (!into.water_c) into.water_c = from.water_c;
  if (!into.next_look) into.next_look = from.next_look;
  if (into.note.empty())
    into.note = from.note;
  else if (!from.note.empty() && from.note != into.note)
    into.note += "\n" + from.note;
}

}  // namespace

Id Book::move_photo(Id photo, const DateTime& date, Id wound) {
  auto row = find<PhotoRow>(photo);
  const auto target_wound = find<Wound>(wound);
  const auto from = row ? find<Visit>(row->visit) : std::nullopt;
  if (!from || !target_wound) throw Error(Fault::usage, "no-such-row", folder(), "the book has no such photo or wound", "look at the list again");
  if (row->wound != wound)
    for (const auto& there : photos(wound))
      if (there.sha256 == row->sha256) throw Error(Fault::usage, "photo-there", folder(), "the wound " + target_wound->name + " has this photo already", "put this one aside instead");
  const bool alone = photos_of_visit(from->id).size() <= 1;
  Id visit = 0;
  as_step(*this, "Correct a photo's day or wound", [&] {
    auto to = visit_on(target_wound->fish, date);
    if (!to && alone && from->fish == target_wound->fish) to = from;  // the whole visit was on another day
    if (!to) {
      to = Visit{};
      to->fish = target_wound->fish;
    }
    const bool same = to->id == from->id;
    if (!to->id || (same && to->date != date)) {
      to->date = date;
      to->date_from = photo::DateSource::user;
    }
    const bool emptied = alone && !same;
    if (emptied && from->fish == to->fish) merge(*to, *from);
    if (to->id)
      update(*to);
    else
      add(*to);
    row->visit = visit = to->id;
    row->wound = wound;
    update(*row);
    if (emptied) trash<Visit>(from->id);
  });
  return visit;
}

void Book::put_photo_aside(Id photo) {
  const auto row = find<PhotoRow>(photo);
  const auto visit = row ? find<Visit>(row->visit) : std::nullopt;
  if (!visit) throw Error(Fault::usage, "no-such-row", folder(), "the book has no such photo", "look at the list again");
  as_step(*this, "Put " + row->original_name + " aside", [&] {
    trash<PhotoRow>(photo);
    if (photos_of_visit(visit->id).empty() && !visit->water_c && visit->note.empty() && !visit->next_look) trash<Visit>(visit->id);
  });
}

}  // namespace uroko::casebook
