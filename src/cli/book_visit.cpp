// uroko book visit: what was said of a day's photos when they were taken in, said anew.
#include "cli/book.h"
#include "uroko/base/error.h"
#include "uroko/base/text.h"

namespace uroko::cli {

using namespace casebook;

namespace {

struct VisitOptions : BookOptions {
  std::string fish, wound, date, to_date, to_fish, to_wound, moment;
  std::optional<double> water;
  std::optional<std::string> note;
  bool aside = false;
};

void run_visit(const VisitOptions& options) {
  const auto day = need_date(options.date);
  const bool moves = !options.to_date.empty() || !options.to_fish.empty() || !options.to_wound.empty();
  if (!moves && !options.water && !options.note && options.moment.empty() && !options.aside)
    throw Error(Fault::usage, "missing", {}, "nothing to correct", "give --to-date, --to-fish, --to-wound, --water, --note, --moment or --aside");
  auto book = open_book(options, Access::write);
  const auto fish = need_fish(book, options.fish);
  const auto wound = need_wound(book, fish, options.wound);
  std::optional<Visit> visit;
  std::vector<PhotoRow> shown;
  for (const auto& v : book.visits(fish.id)) {
    if (v.date.iso_date() != day.iso_date()) continue;
    visit = v;
    for (const auto& p : book.photos_of_visit(v.id))
      if (p.wound == wound.id) shown.push_back(p);
  }
  if (shown.empty()) throw Error(Fault::usage, "no-such-visit", book.folder(), fish.name + ", " + wound.name + " has no photo of " + day.iso_date(), "see uroko book list");
  Book::Step step(book, (options.aside ? "Put aside " : "Correct ") + fish.name + ", " + wound.name + ", " + day.iso_date());
  auto target = wound;
  if (!options.to_fish.empty() || !options.to_wound.empty()) {
    const auto of = options.to_fish.empty() ? fish : need_fish(book, options.to_fish);
    target = need_wound(book, of, options.to_wound.empty() ? wound.name : options.to_wound);
  }
  const auto to = options.to_date.empty() ? visit->date : need_date(options.to_date);
  Id now = visit->id;
  for (auto& photo : shown) {
    if (options.aside) {
      book.put_photo_aside(photo.id);
      continue;
    }
    if (moves) now = book.move_photo(photo.id, to, target.id);
    if (options.moment.empty()) continue;
    auto row = *book.find<PhotoRow>(photo.id);
    row.moment = options.moment == "none" ? "" : options.moment;
    book.update(row);
  }
  if (options.water || options.note) {
    auto stored = *book.find<Visit>(now);
    if (options.water) stored.water_c = options.water;
    if (options.note) stored.note = *options.note;
    book.update(stored);
  }
  step.commit();
  const auto count = std::to_string(shown.size()) + (shown.size() == 1 ? " photo" : " photos");
  const auto text = options.aside ? count + " put aside; uroko book undo brings them back" : count + " of " + to.iso_date() + ", " + book.find<Fish>(target.fish)->name + ", " + target.name;
  if (options.as_json)
    print({{"photos", shown.size()}, {"date", options.aside ? Json(nullptr) : Json(to.iso_date())}, {"text", text}});
  else
    std::printf("%s\n", text.c_str());
}

}  // namespace

void add_book_visit(CLI::App& book) {
  std::shared_ptr<VisitOptions> options;
  auto* verb = book_verb(book, "visit", "Correct a visit: its day, its water and note, which fish and wound the photos show; or put them aside", options);
  verb->add_option("--fish", options->fish, "Name or tag of the fish")->required();
  verb->add_option("--wound", options->wound, "Name of the wound")->required();
  verb->add_option("--date", options->date, "The day under which the photos stand now")->required()->option_text("DATE");
  verb->add_option("--to-date", options->to_date, "The day on which they were taken")->option_text("DATE");
  verb->add_option("--to-fish", options->to_fish, "The fish that they show");
  verb->add_option("--to-wound", options->to_wound, "The wound that they show");
  verb->add_option("--water", options->water, "Water temperature at the visit")->option_text("CELSIUS");
  verb->add_option("--note", options->note, "Free text, in the place of the old one");
  verb->add_option("--moment", options->moment, "On a day of debridement: before or after it")->check(CLI::IsMember({"before", "after", "none"}));
  verb->add_flag("--aside", options->aside, "Put the photos aside; undo or uroko book trash bring them back");
  verb->footer("Measures stay with their photos. Onto the day of another visit the photos join that one.");
  verb->callback([options] { run_visit(*options); });
}

}  // namespace uroko::cli
