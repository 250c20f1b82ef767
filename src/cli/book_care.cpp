// uroko book due, weigh, water, swab, result, prescribe, dose, care, set.
#include "cli/book.h"
#include "uroko/base/error.h"
#include "uroko/base/text.h"
#include "uroko/casebook/dose.h"
#include "uroko/casebook/due.h"

namespace uroko::cli {

using namespace casebook;

namespace {

struct DueOptions : BookOptions {
  std::string on;
  double ahead = 7;
};

void run_due(const DueOptions& options) {
  const auto book = open_book(options, Access::read);
  const auto now = options.on.empty() ? DateTime::now() : need_date(options.on);
  const auto items = due(book, now, options.ahead);
  if (options.as_json) {
    Json list = Json::array();
    for (const auto& item : items)
      list.push_back({{"kind", name(item.kind)}, {"state", name(item.state)}, {"fish", item.fish_name}, {"wound", item.wound ? Json(item.wound_name) : Json(nullptr)},
                      {"from", item.from.iso()}, {"until", item.until.iso()}, {"text", item.text}});
    print({{"date", now.iso_date()}, {"due", list}});
    return;
  }
  if (items.empty()) std::printf("Nothing is due within %s days.\n", number_text(options.ahead).c_str());
  for (const auto& item : items)
    std::printf("%-8s %s  %s%s: %s\n", name(item.state), item.from.iso_date().c_str(), item.fish_name.c_str(), item.wound ? (", " + item.wound_name).c_str() : "", item.text.c_str());
}

struct WeighOptions : BookOptions {
  std::string fish, date, method = "weighed", note;
  double grams = 0;
};
struct WaterOptions : BookOptions {
  std::string place, date, note;
  double c = 0;
};
struct PlaceOptions : BookOptions {
  std::string fish, owner, place, wound, site, side, margin, variety, closed, name, wound_name;
  std::optional<double> length;
};
struct SwabOptions : BookOptions {
  std::string fish, wound, date, site, sent, laboratory, note;
};
struct ResultOptions : BookOptions {
  Id swab = 0;
  std::string date, method, note;
  std::optional<double> temperature;
  std::vector<std::string> lines;
};
struct PrescribeOptions : BookOptions {
  std::string fish, wound, date, drug, route, prescriber, note;
  std::optional<double> mg_per_kg, mg_per_ml, interval;
  std::optional<int> doses;
};
struct DoseOptions : BookOptions {
  std::string fish, mg_per_kg, strength, graduation, date;
  Id prescription = 0;
};

void said(const BookOptions& options, const std::string& record, Id id, const std::string& text) {
  if (options.as_json) print({{record, {{"id", id}, {"text", text}}}});
  else std::printf("%s (%s %lld)\n", text.c_str(), record.c_str(), static_cast<long long>(id));
}

/// "ORGANISM | AGENT | S", the laboratory's own words; agent and letter may be left out.
Finding finding_from(const std::string& text, Id swab) {
  const auto parts = split(text, '|');
  if (parts.size() > 3) throw Error(Fault::usage, "value", {}, "the line \"" + text + "\" has more than three parts", "write ORGANISM | AGENT | S, I or R");
  Finding out;
  out.swab = swab;
  out.organism = trim(parts[0]);
  if (parts.size() > 1) out.agent = trim(parts[1]);
  if (parts.size() > 2) out.letter = trim(parts[2]);
  return out;
}

void run_result(const ResultOptions& options) {
  auto book = open_book(options, Access::write);
  auto swab = book.find<Swab>(options.swab);
  if (!swab) throw Error(Fault::usage, "no-such-row", book.folder(), "there is no swab " + std::to_string(options.swab), "see uroko book care");
  Book::Step step(book, "Note the result of a swab");
  swab->reported = need_date(options.date);
  if (!options.method.empty()) swab->method = options.method;
  if (options.temperature) swab->temperature_c = options.temperature;
  if (!options.note.empty()) swab->note = options.note;
  book.update(*swab);
  for (const auto& line : options.lines) book.add(finding_from(line, swab->id));
  step.commit();
  said(options, "swab", swab->id, "result of " + options.date + " noted with " + std::to_string(options.lines.size()) + " lines");
}

void run_dose(const DoseOptions& options) {
  const auto book = open_book(options, Access::read);
  DoseQuestion question;
  std::string fish_name = options.fish, title;
  question.mg_per_kg = options.mg_per_kg, question.strength = options.strength, question.graduation_ml = options.graduation;
  if (options.prescription) {
    const auto written = book.find<Prescription>(options.prescription);
    if (!written) throw Error(Fault::usage, "no-such-row", book.folder(), "there is no prescription " + std::to_string(options.prescription), "see uroko book care");
    const auto fish = book.find<Fish>(written->fish);
    if (!options.fish.empty() && (!fish || fish->name != options.fish)) throw Error(Fault::usage, "other-fish", book.folder(), "that prescription is for another fish", "see uroko book care");
    if (fish) fish_name = fish->name;
    if (question.mg_per_kg.empty() && written->mg_per_kg) question.mg_per_kg = number_text(*written->mg_per_kg);
    if (question.strength.empty() && written->mg_per_ml) question.strength = number_text(*written->mg_per_ml);
    title = written->drug + ", as prescribed on " + written->written.iso_date() + (written->prescriber.empty() ? "" : " by " + written->prescriber);
  }
  if (fish_name.empty()) throw Error(Fault::usage, "missing", book.folder(), "the dose sheet needs a fish or a prescription", "give --fish or --prescription");
  question.weight = book.last_weighed(need_fish(book, fish_name).id);
  question.on = options.date.empty() ? DateTime::now() : need_date(options.date);
  DoseLimits limits;
  limits.stale_weight_days = book.setting(kStaleWeightDays, limits.stale_weight_days);
  const auto sheet = dose(question, limits);
  if (!sheet) throw Error(Fault::usage, sheet.refusal().code, book.folder(), sheet.refusal().text, sheet.refusal().advice);
  if (options.as_json) {
    Json flags = Json::array();
    for (const auto& flag : sheet->flags) flags.push_back({{"code", flag.code}, {"text", flag.text}});
    Json rounded = nullptr;
    if (sheet->rounded)
      rounded = {{"graduation_ml", sheet->rounded->graduation_ml}, {"ml", sheet->rounded->ml}, {"mg_per_kg", sheet->rounded->mg_per_kg}, {"change_percent", sheet->rounded->change_percent}};
    print({{"fish", fish_name}, {"prescription", title.empty() ? Json(nullptr) : Json(title)}, {"mg_per_kg", sheet->mg_per_kg}, {"kg", sheet->kg}, {"weighed", sheet->weighed.iso_date()},
           {"mg_per_ml", sheet->mg_per_ml}, {"mg", sheet->mg}, {"ml", sheet->ml}, {"rounded", rounded}, {"working", sheet->working}, {"flags", flags}, {"cautions", sheet->cautions}});
    return;
  }
  std::printf("Dose sheet for %s, %s\n", fish_name.c_str(), question.on.iso_date().c_str());
  if (!title.empty()) std::printf("%s\n", title.c_str());
  for (const auto& line : sheet->working) std::printf("  %s\n", line.c_str());
  for (const auto& flag : sheet->flags) std::printf("CHECK: %s\n", flag.text.c_str());
  for (const auto& caution : sheet->cautions) std::printf("- %s\n", caution.c_str());
}

struct CareOptions : BookOptions {
  std::string fish;
};

void run_care(const CareOptions& options) {
  const auto book = open_book(options, Access::read);
  const auto fish = need_fish(book, options.fish);
  const auto number = [](const std::optional<double>& x) { return x ? Json(*x) : Json(nullptr); };
  std::map<Id, std::string> wounds;
  for (const auto& wound : book.wounds(fish.id)) wounds[wound.id] = wound.name;
  const auto wound = [&](const std::optional<Id>& id) { return id ? Json(wounds[*id]) : Json(nullptr); };
  Json events = Json::array(), weights = Json::array(), swabs = Json::array(), prescriptions = Json::array();
  for (const auto& e : book.events(fish.id))
    events.push_back({{"id", e.id}, {"date", e.date.iso()}, {"kind", e.kind}, {"wound", wound(e.wound)}, {"product", e.product}, {"note", e.note},
                      {"prescription", e.prescription ? Json(*e.prescription) : Json(nullptr)}});
  for (const auto& w : book.weights(fish.id)) weights.push_back({{"id", w.id}, {"date", w.date.iso()}, {"grams", w.grams}, {"method", w.method}, {"note", w.note}});
  for (const auto& s : book.swabs(fish.id)) {
    Json lines = Json::array();
    for (const auto& f : book.findings(s.id)) lines.push_back({{"organism", f.organism}, {"agent", f.agent}, {"letter", f.letter}});
    swabs.push_back({{"id", s.id}, {"taken", s.taken.iso()}, {"wound", wound(s.wound)}, {"site", s.site}, {"sent", date_or_null(s.sent)}, {"laboratory", s.laboratory},
                     {"reported", date_or_null(s.reported)}, {"method", s.method}, {"temperature_c", number(s.temperature_c)}, {"findings", lines}});
  }
  for (const auto& p : book.prescriptions(fish.id))
    prescriptions.push_back({{"id", p.id}, {"written", p.written.iso()}, {"wound", wound(p.wound)}, {"drug", p.drug}, {"mg_per_kg", number(p.mg_per_kg)}, {"mg_per_ml", number(p.mg_per_ml)},
                             {"route", p.route}, {"interval_hours", number(p.interval_hours)}, {"doses", p.doses ? Json(*p.doses) : Json(nullptr)}, {"prescriber", p.prescriber},
                             {"note", p.note}, {"stopped", date_or_null(p.stopped)}});
  if (options.as_json) {
    print({{"fish", fish.name}, {"events", events}, {"weights", weights}, {"swabs", swabs}, {"prescriptions", prescriptions}});
    return;
  }
  for (const auto& [title, rows] : {std::pair{"Care", events}, std::pair{"Weights", weights}, std::pair{"Swabs", swabs}, std::pair{"Prescriptions", prescriptions}}) {
    if (rows.empty()) continue;
    std::printf("%s\n", title);
    for (const auto& row : rows) {
      std::string line;
      for (const auto& [key, value] : row.items()) {
        if (value.is_null() || (value.is_string() && value.get<std::string>().empty()) || (value.is_array() && value.empty())) continue;
        line += (line.empty() ? "  " : "; ") + key + " " + (value.is_string() ? value.get<std::string>() : value.dump(-1, ' ', false, Json::error_handler_t::replace));
      }
      std::printf("%s\n", line.c_str());
    }
  }
}

void run_fish(const PlaceOptions& options) {
  auto book = open_book(options, Access::write);
  Book::Step step(book, "Describe fish " + options.fish);
  auto fish = book.fish_or_new(options.fish);
  if (!options.variety.empty()) fish.variety = options.variety;
  if (!options.place.empty()) fish.place = options.place;
  if (options.length) fish.length_mm = options.length;
  if (!options.name.empty()) fish.name = options.name;
  book.update(fish);
  if (!options.owner.empty()) set_owner_label(book, fish.id, options.owner);
  if (!options.wound.empty()) {
    auto wound = book.wound_or_new(fish.id, options.wound);
    if (!options.site.empty()) wound.site = options.site;
    if (!options.side.empty()) wound.side = options.side;
    if (options.margin == "skin") wound.traced_margin = kScaledSkin;
    if (options.margin == "epithelium") wound.traced_margin = kNewEpithelium;
    if (!options.closed.empty()) wound.closed = need_date(options.closed);
    if (!options.wound_name.empty()) wound.name = options.wound_name;
    book.update(wound);
  }
  step.commit();
  said(options, "fish", fish.id, fish.name + " described");
}

}  // namespace

void add_book_care(CLI::App& book) {
  {
    std::shared_ptr<DueOptions> options;
    auto* verb = book_verb(book, "due", "What is due today over all fish: rechecks, swab results, next doses", options);
    verb->add_option("--on", options->on, "Another day than today")->option_text("DATE");
    verb->add_option("--ahead", options->ahead, "How far to look ahead (7)")->option_text("DAYS")->check(CLI::Range(0.0, 3650.0));
    verb->footer("Rechecks 2 to 3 days after a treatment and swab results after about 48 h are common practice; `uroko book set` changes them.\n"
                 "Doses follow the prescription's own interval and number.");
    verb->callback([=] { run_due(*options); });
  }
  {
    std::shared_ptr<PlaceOptions> options;
    auto* verb = book_verb(book, "fish", "Describe a fish or one of its wounds", options);
    verb->add_option("--fish", options->fish, "Name or tag")->required();
    verb->add_option("--name", options->name, "Its new name or tag");
    verb->add_option("--variety", options->variety, "Variety");
    verb->add_option("--length", options->length, "Length")->option_text("MM");
    verb->add_option("--place", options->place, "Pond or tank it lives in");
    verb->add_option("--owner", options->owner, "The owner's label, as printed on the sheet");
    verb->add_option("--wound", options->wound, "The wound to describe");
    verb->add_option("--wound-name", options->wound_name, "The wound's new name")->needs("--wound");
    verb->add_option("--site", options->site, "Body site of the wound")->needs("--wound");
    verb->add_option("--side", options->side, "Its side")->needs("--wound")->check(CLI::IsMember({"left", "right", "both"}));
    verb->add_option("--margin", options->margin, "Which margin is traced")->needs("--wound")->check(CLI::IsMember({"skin", "epithelium"}));
    verb->add_option("--closed", options->closed, "The day on which it was called closed")->needs("--wound")->option_text("DATE");
    verb->callback([=] { run_fish(*options); });
  }
  {
    std::shared_ptr<WeighOptions> options;
    auto* verb = book_verb(book, "weigh", "Note a weight", options);
    verb->add_option("--fish", options->fish, "Name or tag")->required();
    verb->add_option("--date", options->date, "When")->required()->option_text("DATE");
    verb->add_option("--grams", options->grams, "The weight")->required();
    verb->add_option("--method", options->method, "weighed (on a scale) or estimated; a dose takes weighed values only")->check(CLI::IsMember({"weighed", "estimated"}));
    verb->add_option("--note", options->note, "Free text");
    verb->callback([=] {
      const auto date = need_date(options->date);
      auto opened = open_book(*options, Access::write);
      Weight weight{0, need_fish(opened, options->fish).id, date, options->grams, options->method, options->note};
      opened.add(weight);
      said(*options, "weight", weight.id, options->fish + ": " + number_text(weight.grams) + " g, " + weight.method);
    });
  }
  {
    std::shared_ptr<WaterOptions> options;
    auto* verb = book_verb(book, "water", "Note a pond's or tank's water temperature", options);
    verb->add_option("--place", options->place, "The pond or tank")->required();
    verb->add_option("--date", options->date, "When")->required()->option_text("DATE");
    verb->add_option("--c", options->c, "Water temperature, °C")->required();
    verb->add_option("--note", options->note, "Free text");
    verb->callback([=] {
      WaterReading reading{0, options->place, need_date(options->date), options->c, options->note};
      auto opened = open_book(*options, Access::write);
      opened.add(reading);
      said(*options, "water", reading.id, options->place + ": " + number_text(reading.water_c) + " °C");
    });
  }
  {
    std::shared_ptr<SwabOptions> options;
    auto* verb = book_verb(book, "swab", "Note a swab that was taken", options);
    verb->add_option("--fish", options->fish, "Name or tag")->required();
    verb->add_option("--wound", options->wound, "Name of the wound");
    verb->add_option("--date", options->date, "When it was taken")->required()->option_text("DATE");
    verb->add_option("--site", options->site, "Where on the wound");
    verb->add_option("--sent", options->sent, "When it was sent")->option_text("DATE");
    verb->add_option("--laboratory", options->laboratory, "Where to");
    verb->add_option("--note", options->note, "Free text");
    verb->footer("A surface swab shows what is on the surface.");
    verb->callback([=] {
      auto opened = open_book(*options, Access::write);
      const auto fish = need_fish(opened, options->fish);
      Swab swab;
      swab.fish = fish.id, swab.taken = need_date(options->date), swab.site = options->site, swab.laboratory = options->laboratory, swab.note = options->note;
      if (!options->wound.empty()) swab.wound = need_wound(opened, fish, options->wound).id;
      if (!options->sent.empty()) swab.sent = need_date(options->sent);
      opened.add(swab);
      said(*options, "swab", swab.id, "swab of " + options->fish + " taken " + swab.taken.iso_date());
    });
  }
  {
    std::shared_ptr<ResultOptions> options;
    auto* verb = book_verb(book, "result", "Note what the laboratory wrote about a swab", options);
    verb->add_option("--swab", options->swab, "The swab's number (see `book care`)")->required();
    verb->add_option("--date", options->date, "Date of the report")->required()->option_text("DATE");
    verb->add_option("--method", options->method, "The laboratory's method, as written");
    verb->add_option("--temperature", options->temperature, "Incubation temperature")->option_text("CELSIUS");
    verb->add_option("--line", options->lines, "A line of the report, as written: \"ORGANISM | AGENT | S\"");
    verb->add_option("--note", options->note, "Free text");
    verb->footer("The letters S, I, R are the laboratory's own, with its method and temperature; nothing here computes one.");
    verb->callback([=] { run_result(*options); });
  }
  {
    std::shared_ptr<PrescribeOptions> options;
    auto* verb = book_verb(book, "prescribe", "Keep a prescription exactly as the vet wrote it", options);
    verb->add_option("--fish", options->fish, "Name or tag")->required();
    verb->add_option("--wound", options->wound, "Name of the wound");
    verb->add_option("--date", options->date, "Date on the prescription")->required()->option_text("DATE");
    verb->add_option("--drug", options->drug, "As written")->required();
    verb->add_option("--mg-per-kg", options->mg_per_kg, "As written");
    verb->add_option("--mg-per-ml", options->mg_per_ml, "As written");
    verb->add_option("--route", options->route, "As written");
    verb->add_option("--interval-hours", options->interval, "Hours from dose to dose");
    verb->add_option("--doses", options->doses, "How many in all");
    verb->add_option("--prescriber", options->prescriber, "Who wrote it");
    verb->add_option("--note", options->note, "Free text");
    verb->footer("Medicines, doses and intervals are the prescribing vet's, under local law. There are no defaults and no list of drugs.");
    verb->callback([=] {
      auto opened = open_book(*options, Access::write);
      const auto fish = need_fish(opened, options->fish);
      Prescription p;
      p.fish = fish.id, p.written = need_date(options->date), p.drug = options->drug, p.mg_per_kg = options->mg_per_kg, p.mg_per_ml = options->mg_per_ml, p.route = options->route;
      p.interval_hours = options->interval, p.doses = options->doses, p.prescriber = options->prescriber, p.note = options->note;
      if (!options->wound.empty()) p.wound = need_wound(opened, fish, options->wound).id;
      opened.add(p);
      said(*options, "prescription", p.id, "prescription of " + p.drug + " for " + options->fish);
    });
  }
  {
    std::shared_ptr<DoseOptions> options;
    auto* verb = book_verb(book, "dose", "The dose sheet: mL = mg/kg x kg / mg/mL, with its working", options);
    verb->add_option("--fish", options->fish, "Name or tag");
    verb->add_option("--prescription", options->prescription, "Take the numbers as prescribed (its number in `book care`)");
    verb->add_option("--mg-per-kg", options->mg_per_kg, "As the vet wrote it");
    verb->add_option("--strength", options->strength, "On the label: \"50\" or \"50 mg/mL\" or \"5 %\"");
    verb->add_option("--graduation", options->graduation, "Of the syringe, for a second, rounded figure")->option_text("ML");
    verb->add_option("--date", options->date, "Day of the dose (today)")->option_text("DATE");
    verb->footer("The weight is the fish's last weighed one. It recommends no drug, dose or interval.");
    verb->callback([=] { run_dose(*options); });
  }
  {
    std::shared_ptr<CareOptions> options;
    auto* verb = book_verb(book, "care", "Everything noted about a fish: care, weights, swabs, prescriptions", options);
    verb->add_option("--fish", options->fish, "Name or tag")->required();
    verb->callback([=] { run_care(*options); });
  }
  {
    struct SetOptions : BookOptions {
      std::string name;
      double value = 0;
    };
    std::shared_ptr<SetOptions> options;
    auto* verb = book_verb(book, "set", "Change a setting of the book", options);
    verb->add_option("NAME", options->name, "recheck_from_days, recheck_to_days, swab_hours, stale_weight_days")
        ->required()
        ->check(CLI::IsMember({kRecheckFromDays, kRecheckToDays, kSwabHours, kStaleWeightDays}));
    verb->add_option("VALUE", options->value, "The number")->required()->check(CLI::Range(0.0, 10000.0));
    verb->callback([=] {
      auto opened = open_book(*options, Access::write);
      opened.set_setting(options->name, number_text(options->value));
      if (options->as_json) print({{options->name, options->value}});
      else std::printf("%s is now %s\n", options->name.c_str(), number_text(options->value).c_str());
    });
  }
}

}  // namespace uroko::cli
