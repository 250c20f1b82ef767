// uroko book new, add, log, list, undo, redo, history, trash.
#include "cli/book.h"
#include "uroko/base/error.h"
#include "uroko/base/text.h"

namespace uroko::cli {

using namespace casebook;

namespace {

struct AddOptions : BookOptions {
  std::vector<std::string> photos;
  std::string fish, wound, date;
  std::optional<double> water, weight;
};

void run_add(const AddOptions& options) {
  NewPhotos photos;
  for (const auto& file : options.photos) photos.files.push_back(file);
  photos.fish = options.fish, photos.wound = options.wound;
  if (!options.date.empty()) photos.date = need_date(options.date);
  photos.water_c = options.water, photos.weight_g = options.weight;
  auto book = open_book(options, Access::write);
  const auto added = book.add_photos(photos);
  Json list = Json::array();
  const Error* first = nullptr;
  for (const auto& one : added) {
    Json item{{"file", one.file.string()}};
    if (one.error) {
      item["status"] = "failed";
      item["error"] = {{"code", one.error->code()}, {"text", one.error->happened()}};
      if (first) std::fprintf(stderr, "uroko: %s\n", one.error->what());
      else first = &*one.error;
    } else {
      item["status"] = one.already ? "already" : "added";
      item["sha256"] = one.sha256;
      item["date"] = one.date.iso_date();
      item["date_from"] = photo::name(one.date_from);
      if (one.already) item["already_at"] = one.already_at;
    }
    if (!options.as_json && !one.error)
      std::printf("%s: %s, %s (date from %s)\n", one.file.c_str(), one.already ? ("already in the book: " + one.already_at).c_str() : "added", one.date.iso_date().c_str(), photo::name(one.date_from));
    if (!one.error && !one.already && one.date_from == photo::DateSource::file_time)
      std::fprintf(stderr, "uroko: %s: note: the date is the file's own, which copying changes; give --date if it is wrong\n", one.file.c_str());
    list.push_back(std::move(item));
  }
  if (options.as_json) print({{"fish", options.fish}, {"wound", options.wound}, {"photos", list}});
  if (first) throw *first;
}

struct LogOptions : BookOptions {
  std::string fish, wound, date, event, product, note;
  Id prescription = 0;
};

void run_log(const LogOptions& options) {
  const auto date = need_date(options.date);
  auto book = open_book(options, Access::write);
  const auto fish = need_fish(book, options.fish);
  auto kind = lower_ascii(trim(options.event));
  for (auto& c : kind)
    if (c == '-' || c == '_') c = ' ';
  Event event{0, fish.id, {}, date, kind, options.product, options.note, {}};
  if (!options.wound.empty()) event.wound = need_wound(book, fish, options.wound).id;
  if (options.prescription) {
    const auto written = book.find<Prescription>(options.prescription);
    if (!written || written->fish != fish.id) throw Error(Fault::usage, "no-such-row", book.folder(), fish.name + " has no prescription " + std::to_string(options.prescription), "see uroko book care");
    event.prescription = options.prescription;
  }
  book.add(event);
  if (options.as_json) print({{"event", {{"id", event.id}, {"fish", options.fish}, {"wound", options.wound}, {"date", date.iso()}, {"kind", kind}}}});
  else std::printf("%s: %s noted for %s\n", date.iso_date().c_str(), kind.c_str(), options.fish.c_str());
}

struct ListOptions : BookOptions {
  bool rescue = false;
};

void run_list(const ListOptions& options) {
  const auto book = open_book(options, options.rescue ? Access::rescue : Access::read);
  const auto everything = book.everything();
  if (options.as_json) {
    Json fish = Json::array();
    for (const auto& one : everything) {
      Json wounds = Json::array();
      for (const auto& wound : one.wounds) {
        Json visits = Json::array();
        for (const auto& look : wound.visits) {
          Json photos = Json::array();
          for (const auto& photo : look.photos) photos.push_back(photo.sha256);
          visits.push_back({{"date", look.visit.date.iso_date()}, {"date_from", photo::name(look.visit.date_from)}, {"photos", photos},
                            {"area_mm2", look.area_mm2 ? Json(look.area_mm2->value) : Json(nullptr)}, {"u_mm2", look.area_mm2 ? Json(look.area_mm2->u) : Json(nullptr)},
                            {"water_c", look.visit.water_c ? Json(*look.visit.water_c) : Json(nullptr)}});
        }
        wounds.push_back({{"name", wound.wound.name}, {"site", wound.wound.site}, {"side", wound.wound.side}, {"visits", visits}});
      }
      fish.push_back({{"name", one.fish.name}, {"variety", one.fish.variety}, {"wounds", wounds}});
    }
    print({{"fish", fish}});
    return;
  }
  if (everything.empty()) std::printf("The book is empty.\n");
  for (const auto& one : everything) {
    std::printf("%s%s\n", one.fish.name.c_str(), one.fish.variety.empty() ? "" : (", " + one.fish.variety).c_str());
    for (const auto& wound : one.wounds) {
      std::printf("  %s%s\n", wound.wound.name.c_str(), wound.wound.site.empty() ? "" : (", " + wound.wound.site).c_str());
      for (const auto& look : wound.visits) {
        std::string area = "not measured";
        if (look.area_mm2) area = fixed_text(look.area_mm2->value, 1) + " mm2 (" + fixed_text(look.area_mm2->low95, 1) + " to " + fixed_text(look.area_mm2->high95, 1) + ")";
        std::printf("    %s  %zu photo%s  %s\n", look.visit.date.iso_date().c_str(), look.photos.size(), look.photos.size() == 1 ? "" : "s", area.c_str());
      }
    }
  }
}

void run_undo(const BookOptions& options, bool undo) {
  auto book = open_book(options, Access::write);
  const auto label = undo ? book.undo() : book.redo();
  if (options.as_json) print({{undo ? "undone" : "redone", label}});
  else std::printf("%s: %s\n", undo ? "Undone" : "Done again", label.c_str());
}

void run_history(const BookOptions& options) {
  const auto book = open_book(options, Access::read);
  Json list = Json::array();
  for (const auto& step : book.history()) {
    const char* state = step.state == HistoryStep::State::done ? "done" : step.state == HistoryStep::State::undone ? "undone" : "abandoned";
    list.push_back({{"made", step.made.iso()}, {"label", step.label}, {"state", state}});
    if (!options.as_json) std::printf("%s  %-9s  %s\n", step.made.iso().c_str(), state, step.label.c_str());
  }
  if (options.as_json) print({{"history", list}});
}

struct TrashOptions : BookOptions {
  std::string fish, wound, restore;
};

void run_trash(const TrashOptions& options) {
  const bool changes = !options.fish.empty() || !options.restore.empty();
  auto book = open_book(options, changes ? Access::write : Access::read);
  if (!options.fish.empty()) {
    const auto fish = need_fish(book, options.fish);
    if (options.wound.empty()) book.trash<Fish>(fish.id);
    else book.trash<Wound>(need_wound(book, fish, options.wound).id);
  }
  if (!options.restore.empty()) {
    bool found = false;
    for (const auto& item : book.trash_list())
      if (item.record + " " + std::to_string(item.id) == options.restore) {
        book.restore(item);
        found = true;
      }
    if (!found) throw Error(Fault::usage, "no-such-row", book.folder(), "the trash holds no " + options.restore, "see uroko book trash");
  }
  Json list = Json::array();
  for (const auto& item : book.trash_list()) {
    list.push_back({{"record", item.record}, {"id", item.id}, {"text", item.text}, {"since", item.since.iso()}});
    if (!options.as_json) std::printf("%s %lld  %s, since %s\n", item.record.c_str(), static_cast<long long>(item.id), item.text.c_str(), item.since.iso_date().c_str());
  }
  if (options.as_json) print({{"trash", list}});
}

}  // namespace

void add_book_records(CLI::App& book) {
  {
    std::shared_ptr<BookOptions> options;
    auto* verb = book_verb(book, "new", "Make an empty case book", options);
    verb->callback([=] {
      const auto made = Book::create(options->book);
      if (options->as_json) print({{"book", made.folder().string()}});
      else std::printf("%s is ready\n", made.folder().c_str());
      for (const auto& warning : made.warnings()) std::fprintf(stderr, "uroko: %s: note: %s\n", options->book.c_str(), warning.text.c_str());
    });
  }
  {
    std::shared_ptr<AddOptions> options;
    auto* verb = book_verb(book, "add", "Add photos of a wound; unknown fish and wounds are made", options);
    verb->add_option("PHOTO", options->photos, "JPEG, PNG, TIFF, WebP or HEIC")->required();
    verb->add_option("--fish", options->fish, "Name or tag of the fish")->required();
    verb->add_option("--wound", options->wound, "Name of the wound")->required();
    verb->add_option("--date", options->date, "When they were taken, instead of what the photos say")->option_text("DATE");
    verb->add_option("--water", options->water, "Water temperature at the visit")->option_text("CELSIUS");
    verb->add_option("--weight", options->weight, "Weight on a scale at the visit")->option_text("GRAMS");
    verb->footer("A photo that is in the book already is said to be so and not added twice. Originals are copied, never changed.");
    verb->callback([=] { run_add(*options); });
  }
  {
    std::shared_ptr<LogOptions> options;
    auto* verb = book_verb(book, "log", "Note what was done: cleaning, debridement, an injection, ...", options);
    verb->add_option("--fish", options->fish, "Name or tag of the fish")->required();
    verb->add_option("--wound", options->wound, "Name of the wound; without it the whole fish");
    verb->add_option("--date", options->date, "When")->required()->option_text("DATE");
    std::string kinds;
    for (const auto& kind : care_kinds()) kinds += (kinds.empty() ? "" : ", ") + kind;
    verb->add_option("--event", options->event, "One of: " + kinds)->required()->option_text("KIND");
    verb->add_option("--product", options->product, "What was used");
    verb->add_option("--note", options->note, "Free text");
    verb->add_option("--prescription", options->prescription, "The prescription that this dose belongs to (its number in `book care`)");
    verb->callback([=] { run_log(*options); });
  }
  {
    std::shared_ptr<ListOptions> options;
    auto* verb = book_verb(book, "list", "All fish, wounds and visits with their areas", options);
    verb->add_flag("--rescue", options->rescue, "Read a damaged book as far as it can be read");
    verb->callback([=] { run_list(*options); });
  }
  for (const bool undo : {true, false}) {
    std::shared_ptr<BookOptions> options;
    auto* verb = book_verb(book, undo ? "undo" : "redo", undo ? "Take back the last change, also one of an earlier day" : "Do again what was undone", options);
    verb->callback([=] { run_undo(*options, undo); });
  }
  {
    std::shared_ptr<BookOptions> options;
    auto* verb = book_verb(book, "history", "The last changes, newest first", options);
    verb->callback([=] { run_history(*options); });
  }
  {
    std::shared_ptr<TrashOptions> options;
    auto* verb = book_verb(book, "trash", "What was put aside; put a fish or wound aside, or take something out again", options);
    verb->add_option("--fish", options->fish, "Put this fish (with --wound: this wound of it) aside");
    verb->add_option("--wound", options->wound, "The wound to put aside")->needs("--fish");
    verb->add_option("--restore", options->restore, "Take out again, as the list names it: \"fish 3\"");
    verb->callback([=] { run_trash(*options); });
  }
}

}  // namespace uroko::cli
