// The tour: short, to be left at any time, shown once with the sample case and again by its command.
#include "uroko/app/tour.h"

#include "uroko/app/session.h"

namespace uroko::app {

const std::vector<TourStop>& tour_stops() {
  static const std::vector<TourStop> all{
      {"photo", "One visit's photo", "The printed card gives the millimetres. The line round the wound is its margin: drag it to correct it, or press L and loop the wound anew."},
      {"margin.accept", "The answer, and how sure it is", "The area with its 95 % interval, the verdict with its reasons, the bed, and where the \u00b1 comes from. Accept keeps it as a new revision; nothing is overwritten."},
      {"bank.plot", "The course", "Every visit with its interval, with the care log and the water's temperature on the same axis. The photos hang below at their dates; click one to open it."},
      {"compare.show", "The step that needs you is lit", "Scale, margin, compare: go to any of them at any time. Compare shows two visits at the same millimetre scale, or every margin in one frame."},
      {"bank.drop", "The next visit", "Drop the next photo here. Fish and date are asked, the card is found by itself, and one loop gives the area."},
      {"window.commands", "Everything by its name", "Ctrl+K finds every command with its key, this tour too. Every step can be undone with Ctrl+Z."}};
  return all;
}

void Session::start_tour() {
  if (current_wound() && step == Step::compare) set_step(Step::margin);
  tour_at = 0;
}

void Session::first_tour() {
  if (current_wound() && !settings.tour_seen) start_tour();
}

void Session::next_tour_stop() {
  if (!tour_at) return;
  if (++*tour_at >= tour_stops().size()) end_tour();
}

void Session::end_tour() {
  tour_at.reset();
  if (settings.tour_seen) return;
  settings.tour_seen = true;
  save_settings_now();
}

}  // namespace uroko::app
