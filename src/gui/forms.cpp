// Forms stand in the place of the result: the photo stays in sight and nothing is modal.
#include <algorithm>
#include <fmt/format.h>

#include "gui/panels.h"
#include "uroko/base/text.h"
#include "uroko/casebook/book.h"
#include "uroko/report/words.h"

namespace uroko::gui {

namespace {

const char* words_of(photo::DateSource source) {
  switch (source) {
    case photo::DateSource::exif: return "the camera's date";
    case photo::DateSource::exif_digitised: return "the scan's date";
    case photo::DateSource::file_name: return "the date in its name";
    case photo::DateSource::file_time: return "the file's date: check";
    case photo::DateSource::user: return "typed";
    case photo::DateSource::none: break;
  }
  return "no date";
}

using app::Session;

struct Sheet {
  Ui& ui;
  Box box;
  const app::FormFault& wrong;
  float x, w, y;
  bool told = false;  ///< the fault stands under its field

  /// `id`: of the form, so that a form in the place of another one is new to the keyboard.
  Sheet(Ui& u, const Box& b, const char* id, const char* title, const app::FormFault& fault) : ui(u), box(b), wrong(fault), x(b.x + u.px(24)), w(b.w - u.px(44)), y(0) {
    // Enter brought a fault: the keyboard goes to the field that it is about.
    if (!ui.enter_field.name.empty() && !wrong.at.empty()) ui.enter_field.name = wrong.at;
    ui.hairline(box.x, box.y, box.x, box.bottom());
    ui.begin_scroll(std::string("sheet.") + id, {box.x + 1, box.y, box.w - 1, box.h - ui.px(64)});
    y = ImGui::GetWindowPos().y - ImGui::GetScrollY() + ui.px(20);
    ui.text(x, y, title, ui.style.fonts.title, ui.c().ink);
    y += ui.px(36);
  }
  void say(const std::string& s, bool muted = true) { y += ui.wrapped(x, y, w, s, muted ? ui.style.fonts.small : ui.style.fonts.body, muted ? ui.c().muted : ui.c().ink) + ui.px(12); }
  /// The fault, if `name` is its field; without a name, if it has not been told yet.
  void fault(const std::string& name = {}) {
    if (told || wrong.empty() || (!name.empty() && name != wrong.at)) return;
    told = true;
    if (const auto field = ui.places.find(wrong.at); field != ui.places.end()) ui.frame(field->second, ui.c().warn, ui.px(4), 1.5f);
    note(wrong.text);
  }
  void note(const std::string& s) {
    const float h = ui.wrapped_height(w - ui.px(24), s, ui.style.fonts.small) * 1.22f + ui.px(16);
    ui.fill({x, y, w, h}, ui.c().warn_soft, ui.px(3));
    ui.fill({x, y, ui.px(3), h}, ui.c().warn);
    ui.wrapped(x + ui.px(14), y + ui.px(8), w - ui.px(24), s, ui.style.fonts.small, ui.c().ink);
    y += h + ui.px(12);
  }
  template <class Set>
  void field(const char* name, const char* label, const std::string& value, const char* hint, Set set, bool focus = false) {
    y += ui.labelled_field(name, x, y, w, label, value, hint, set, focus && ImGui::IsWindowAppearing());
    fault(name);
  }
  template <class SetA, class SetB>
  void two(const char* name_a, const char* label_a, const std::string& a, const char* hint_a, SetA set_a, const char* name_b, const char* label_b, const std::string& b, const char* hint_b, SetB set_b) {
    const float half = (w - ui.px(12)) / 2;
    ui.labelled_field(name_a, x, y, half, label_a, a, hint_a, set_a);
    y += ui.labelled_field(name_b, x + half + ui.px(12), y, half, label_b, b, hint_b, set_b);
    fault(name_a);
    fault(name_b);
  }
  /// Known names to pick from, in rows.
  void choices(const std::string& name, const std::vector<std::string>& all, const std::string& now, const std::function<void(Session&, const std::string&)>& set) {
    float cx = x;
    auto* small = ui.style.fonts.small;
    for (const auto& choice : all) {
      const float cw = ui.text_width(choice, small) + ui.px(20);
      if (cx + cw > x + w) {
        cx = x;
        y += ui.px(32);
      }
      const Box b{cx, y, cw, ui.px(26)};
      const auto hit = ui.hit(fmt::format("{}.{}", name, choice), b);
      const bool lit = choice == now;
      ui.fill(b, lit ? ui.c().act_soft : hit.hovered ? ui.c().sunk : ui.c().ground, b.h / 2);
      ui.frame(b, lit ? ui.c().act : ui.c().hairline, b.h / 2);
      ui.text(cx + ui.px(10), y + (b.h - small->FontSize) / 2, choice, small, lit ? ui.c().act : ui.c().ink);
      if (hit.clicked) ui.intents.add([set, choice](Session& s) { set(s, choice); });
      cx += cw + ui.px(6);
    }
    if (!all.empty()) y += ui.px(38);
  }
  void heading(const char* s) {
    ui.heading(x, y, s);
    y += ui.px(24);
  }
  void end(const char* name, const std::string& label, const std::function<void(Session&)>& confirm, bool ready = true, const char* cancel = "Cancel") {
    ui.end_scroll(y + ui.px(16));
    const float by = box.bottom() - ui.px(50), bw = (w - ui.px(8)) / 2;
    ui.hairline(box.x, box.bottom() - ui.px(64), box.right(), box.bottom() - ui.px(64));
    if (confirm) {
      if (ui.button(name, {x, by, bw, ui.px(36)}, label, Look::primary, ready)) ui.intents.add(confirm);
      if (ui.button("form.cancel", {x + bw + ui.px(8), by, bw, ui.px(36)}, cancel, Look::plain)) ui.intents.run("edit.escape");
    } else if (ui.button("form.cancel", {x, by, w, ui.px(36)}, "Close", Look::plain)) {
      ui.intents.run("edit.escape");
    }
  }
  /// In the place of the fields while the book takes the form in: what would be typed now would be lost.
  void on_its_way(const char* name, const std::string& what) {
    say(what, false);
    say("On its way into the case book. The form closes when it is there; looking on, or closing it now, stops nothing.");
    end(name, "Saving \u2026", [](Session&) {}, false, "Close");
  }
};

// One line for each text field of a form: how its typing comes back.
#define UROKO_SET(form, member) [](Session& s, std::string t) { if (s.form) s.form->member = std::move(t); }

struct Names {
  std::vector<std::string> fish, wounds;  ///< the wounds of the fish that is named
};
Names known_names(const app::BookModel& book, const std::string& of_fish) {
  Names names;
  for (const auto& entry : book.fish) {
    names.fish.push_back(entry.fish.name);
    if (entry.fish.name == of_fish)
      for (const auto& w : entry.wounds) names.wounds.push_back(w.wound.name);
  }
  return names;
}

void draw_import(Ui& ui, const Box& box) {
  const auto& s = ui.session;
  const auto& f = *s.import_form;
  Sheet sheet(ui, box, "import", f.items.size() == 1 ? "One photo" : (std::to_string(f.items.size()) + " photos").c_str(), f.fault);
  sheet.heading("Fish");
  const auto [fish, wounds] = known_names(s.book, f.fish);
  sheet.choices("import.fish", fish, f.fish, [](Session& session, const std::string& t) {
    session.import_form->fish = t;
    const auto& all = session.book.fish;
    const auto found = std::find_if(all.begin(), all.end(), [&](const auto& e) { return e.fish.name == t; });
    if (found != all.end() && found->wounds.size() == 1) session.import_form->wound = found->wounds[0].wound.name;
  });
  sheet.field("import.fish.name", fish.empty() ? "Name or tag" : "or a new one", f.fish, "Asagiri", UROKO_SET(import_form, fish), f.fish.empty());
  sheet.choices("import.wound", wounds, f.wound, [](Session& session, const std::string& t) { session.import_form->wound = t; });
  sheet.field("import.wound.name", "Wound", f.wound, "left flank", UROKO_SET(import_form, wound));
  sheet.heading("Dates");
  for (std::size_t i = 0; i < f.items.size(); ++i) {
    const auto& item = f.items[i];
    const float half = sheet.w * 0.52f;
    auto* small = ui.style.fonts.small;
    ui.text(sheet.x, sheet.y + ui.px(2), ui.fitted(item.file.filename().string(), half - ui.px(8), small), small, ui.c().ink);
    if (!item.trouble.empty()) {
      ui.text(sheet.x, sheet.y + ui.px(18), ui.fitted(item.trouble, sheet.w, small), small, ui.c().due);
    } else {
      const std::string from = !item.info ? "reading \u2026" : item.info->taken ? std::string(words_of(item.info->taken_from)) : "no date found: type one";
      ui.text(sheet.x, sheet.y + ui.px(18), ui.fitted(from, half - ui.px(8), small), small, item.info && !item.info->taken ? ui.c().due : ui.c().muted);
      ui.field("import.date." + std::to_string(i), {sheet.x + half, sheet.y, sheet.w - half, ui.px(32)}, item.date, "2026-03-19", [i](Session& session, std::string t) {
        if (session.import_form && i < session.import_form->items.size()) session.import_form->items[i].date = std::move(t);
      });
    }
    sheet.y += ui.px(42);
    sheet.fault("import.date." + std::to_string(i));
  }
  sheet.y += ui.px(8);
  sheet.two("import.water", "Water, \u00b0C", f.water, "if measured", UROKO_SET(import_form, water), "import.weight", "Weight, g", f.weight, "if weighed", UROKO_SET(import_form, weight));
  if (!s.has_book()) {
    sheet.heading("Case book");
    sheet.field("import.book", "A new one is made here", f.book, "", UROKO_SET(import_form, book));
  }
  sheet.fault();
  sheet.say("The originals are copied into the case book and never changed.");
  // At the end, so that no field moves while the margin is being measured.
  if (s.desk && !s.desk->place.photo && s.desk->measurement && s.desk->measured == s.desk->generation) {
    const auto& area = s.desk->measurement->area_mm2;
    sheet.heading("Traced already");
    sheet.say(fmt::format("{} mm\u00b2, 95 % interval {} mm\u00b2", report::mm2_text(area.value), report::range_text(area)), false);
    sheet.say("The trace stays with the photo; accept it once it is taken in.");
  }
  sheet.end("import.confirm", f.making_book ? "Opening \u2026" : "Take in", [](Session& session) { session.confirm_import(); }, !f.making_book);
}

void draw_log(Ui& ui, const Box& box) {
  const auto& f = *ui.session.log_form;
  Sheet sheet(ui, box, "log", "Care log", f.fault);
  if (f.write) return sheet.on_its_way("log.save", f.kind + ", " + f.date + (f.note.empty() ? "" : ": " + f.note));
  sheet.say("What was done, on the same time axis as the wound. Sedation, debridement and injections are for trained hands and local rules.");
  auto kinds = casebook::care_kinds();
  kinds.push_back("water temperature");
  kinds.push_back("weight");
  sheet.choices("log.kind", kinds, f.kind, [](Session& s, const std::string& t) { s.log_form->kind = t; });
  if (ui.session.current_wound() && f.kind != "water temperature" && f.kind != "weight")
    sheet.choices("log.of", {"this wound", "the whole fish"}, f.whole_fish ? "the whole fish" : "this wound", [](Session& s, const std::string& t) { s.log_form->whole_fish = t == "the whole fish"; });
  sheet.field("log.date", "Date, and time if known", f.date, "2026-03-19", UROKO_SET(log_form, date));
  if (f.kind == "water temperature")
    sheet.field("log.water", "Water, \u00b0C", f.water, "18,5", UROKO_SET(log_form, water));
  else if (f.kind == "weight")
    sheet.field("log.weight", "Weight on the scales, g", f.weight, "1450", UROKO_SET(log_form, weight));
  else
    sheet.field("log.note", "Note", f.note, f.kind == "swab" ? "site, laboratory" : "product, amount, what was seen", UROKO_SET(log_form, note));
  if (f.kind == "debridement") sheet.say("A debridement makes the wound larger on purpose: the baseline starts again there.");
  if (f.kind == "swab") sheet.say("A surface swab shows what is on the surface.");
  sheet.fault();
  const auto* wound = ui.session.current_wound();
  if (wound && !wound->series.events.empty()) {
    sheet.heading("So far");
    for (auto it = wound->series.events.rbegin(); it != wound->series.events.rend(); ++it) {
      ui.text(sheet.x, sheet.y, it->date.iso_date(), ui.style.fonts.small, ui.c().muted);
      const auto entry = std::find_if(wound->events.begin(), wound->events.end(), [&](const auto& e) { return e.kind == it->kind && e.date == it->date; });
      const float aside = entry == wound->events.end() ? 0 : ui.px(24);
      ui.text(sheet.x + ui.px(84), sheet.y, ui.fitted(it->kind + (it->note.empty() ? "" : ": " + it->note), sheet.w - ui.px(84) - aside, ui.style.fonts.small), ui.style.fonts.small, ui.c().ink);
      if (aside > 0 && ui.button("log.aside." + std::to_string(entry->id), {sheet.x + sheet.w - aside + ui.px(4), sheet.y - ui.px(4), aside, ui.px(22)}, "\u00d7", Look::quiet, true, "Put this entry aside; undo brings it back"))
        ui.intents.add([id = entry->id](Session& s) { s.remove_event(id); });
      sheet.y += ui.px(22);
    }
  }
  sheet.end("log.save", "Save", [](Session& s) { s.save_log(); });
}

/// Puts something into the trash, at the end of what is said of it.
void put_aside(Sheet& sheet, const char* name, const char* label, const char* words, void (Session::*put)()) {
  sheet.y += sheet.ui.px(8);
  if (sheet.ui.button(name, {sheet.x, sheet.y, sheet.w, sheet.ui.px(32)}, label, Look::quiet)) sheet.ui.intents.add([put](Session& s) { (s.*put)(); });
  sheet.y += sheet.ui.px(38);
  sheet.say(words);
}

void draw_fish(Ui& ui, const Box& box) {
  const auto& f = *ui.session.fish_form;
  Sheet sheet(ui, box, "fish", f.id ? "Fish" : "New fish", f.fault);
  if (f.write) return sheet.on_its_way("fish.save", f.name);
  sheet.field("fish.name", "Name or tag", f.name, "", UROKO_SET(fish_form, name));
  sheet.field("fish.variety", "Variety", f.variety, "kohaku", UROKO_SET(fish_form, variety));
  sheet.field("fish.length", "Length, mm", f.length, "", UROKO_SET(fish_form, length));
  sheet.field("fish.note", "Note", f.note, "", UROKO_SET(fish_form, note));
  sheet.fault();
  if (f.id) put_aside(sheet, "fish.aside", "Put this fish aside", "With all its wounds, out of all lists. Nothing is deleted; undo brings it back.", &Session::put_fish_aside);
  sheet.end("fish.save", "Save", [](Session& s) { s.save_fish(); });
}

void draw_wound(Ui& ui, const Box& box) {
  const auto& f = *ui.session.wound_form;
  Sheet sheet(ui, box, "wound", "Wound", f.fault);
  if (f.write) return sheet.on_its_way("wound.save", f.name);
  sheet.field("wound.name", "Name", f.name, "", UROKO_SET(wound_form, name));
  sheet.field("wound.site", "Body site", f.site, "behind the pectoral fin", UROKO_SET(wound_form, site));
  sheet.choices("wound.side", {"left", "right", "both", "not said"}, f.side.empty() ? "not said" : f.side, [](Session& s, const std::string& t) { s.wound_form->side = t == "not said" ? "" : t; });
  sheet.heading("Which margin is traced");
  sheet.choices("wound.traced", {casebook::kScaledSkin, casebook::kNewEpithelium, "not said"}, f.traced.empty() ? "not said" : f.traced,
                [](Session& s, const std::string& t) { s.wound_form->traced = t == "not said" ? "" : t; });
  sheet.say("The same one at every visit, or the curve compares two things.");
  sheet.field("wound.closed", "Called closed on (empty: open)", f.closed, "2026-03-19", UROKO_SET(wound_form, closed));
  sheet.field("wound.note", "Note", f.note, "", UROKO_SET(wound_form, note));
  sheet.fault();
  put_aside(sheet, "wound.aside", "Put this wound aside", "With its photos and measures, out of all lists. Nothing is deleted; undo brings it back.", &Session::put_wound_aside);
  sheet.end("wound.save", "Save", [](Session& s) { s.save_wound(); });
}

void draw_visit(Ui& ui, const Box& box) {
  const auto& s = ui.session;
  const auto& f = *s.visit_form;
  Sheet sheet(ui, box, "visit", "Visit", f.fault);
  if (f.write) return sheet.on_its_way("visit.save", f.date + ", " + f.fish + ", " + f.wound);
  sheet.field("visit.date", "Date", f.date, "2026-03-19", UROKO_SET(visit_form, date));
  sheet.field("visit.water", "Water, \u00b0C", f.water, "if measured", UROKO_SET(visit_form, water));
  sheet.field("visit.note", "Note", f.note, "", UROKO_SET(visit_form, note));
  sheet.heading("This photo shows");
  const auto [fish, wounds] = known_names(s.book, f.fish);
  if (fish.size() > 1) sheet.choices("visit.fish", fish, f.fish, [](Session& session, const std::string& t) { session.visit_form->fish = t; });
  sheet.field("visit.fish.name", "Fish", f.fish, "", UROKO_SET(visit_form, fish));
  if (wounds.size() > 1 || (wounds.size() == 1 && wounds[0] != f.wound)) sheet.choices("visit.wound", wounds, f.wound, [](Session& session, const std::string& t) { session.visit_form->wound = t; });
  sheet.field("visit.wound.name", "Wound", f.wound, "", UROKO_SET(visit_form, wound));
  sheet.heading("On a day of debridement");
  sheet.choices("visit.moment", {"before it", "after it", "not said"}, f.moment.empty() ? "not said" : f.moment + " it",
                [](Session& session, const std::string& t) { session.visit_form->moment = t == "not said" ? "" : t == "after it" ? "after" : "before"; });
  sheet.fault();
  put_aside(sheet, "visit.aside", "Put this photo aside", "Out of the curve and the strip. Nothing is deleted; undo brings it back.", &Session::put_photo_aside);
  sheet.end("visit.save", "Save", [](Session& session) { session.save_visit(); });
}

void draw_path(Ui& ui, const Box& box) {
  const auto& f = *ui.session.path_form;
  static constexpr const char* kTitles[] = {"Add photos", "Open a case book", "New case book", "Write the report", "Print the card", "Watch a folder", "Read a lens profile"};
  Sheet sheet(ui, box, "path", kTitles[static_cast<int>(f.purpose)], f.fault);
  using Purpose = app::PathForm::Purpose;
  if (f.purpose == Purpose::photos) sheet.say("Drop photos on the window, choose them in the dialog, or type a path to a photo or a folder of photos.");
  if (f.purpose == Purpose::open_book || f.purpose == Purpose::new_book) sheet.say("A case book is a folder ending in .uroko. It holds the originals and the records; copy it to move it.");
  if (f.purpose == Purpose::report) sheet.say("The curve, the table and the care log of this wound as PDF.");
  if (f.purpose == Purpose::card) sheet.say("Print at 100 %, without \"fit to page\". Then measure the 100 mm bar and enter what it measures in the settings.");
  if (f.purpose == Purpose::lens) sheet.say("A profile made by `uroko lens` from photos of a checkerboard, for this photo. One that is kept in " + scale::lens_folder().string() + " is taken by itself for every photo of its camera.");
  if (f.purpose == Purpose::watch) sheet.say("New photos that appear in this folder come up for a fish and a date. Empty: none.");
  // Always one line: a field that moves when the dialog answers would slip from under the finger.
  sheet.say(f.asking ? "The system's file dialog is open." : "Type a path, or paste one.");
  sheet.field("path.text", "Path", f.text, "", UROKO_SET(path_form, text), true);
  sheet.fault();
  if (f.purpose == Purpose::open_book)
    for (std::size_t i = 0; i < ui.session.settings.recent_books.size(); ++i) {
      const auto& book = ui.session.settings.recent_books[i];
      if (ui.button("path.recent." + std::to_string(i), {sheet.x, sheet.y, sheet.w, ui.px(32)}, book.string(), Look::quiet)) ui.intents.add([book](Session& s) { s.path_chosen(book); });
      sheet.y += ui.px(36);
    }
  static constexpr const char* kDo[] = {"Add", "Open", "Make", "Write", "Write", "Watch", "Read"};
  sheet.end("path.confirm", kDo[static_cast<int>(f.purpose)], [](Session& s) { if (s.path_form) s.path_chosen(s.path_form->text); });
}

void draw_settings(Ui& ui, const Box& box) {
  const auto& set = ui.session.settings;
  const auto out_of = [](const std::string& typed, double least, double most) {
    const auto v = parse_typed_number(typed);
    return !trim(typed).empty() && !(v && *v >= least && *v <= most);
  };
  // Settings hold from the letter they are typed with; what cannot be taken is said at once.
  app::FormFault fault;
  if (out_of(ui.session.settings_text.print, 50, 200)) fault.say("A number of millimetres from 50 to 200; until then " + number_text(set.print_scale * 100) + " holds.", "settings.print");
  if (out_of(ui.session.settings_text.base, -5, 20)) fault.say("A number of degrees Celsius from -5 to 20; until then " + number_text(set.degree_day_base_c) + " holds.", "settings.base");
  Sheet sheet(ui, box, "settings", "Settings", fault);
  sheet.heading("Size of the window's letters");
  std::vector<std::string> sizes = {"as the display", "75 %", "100 %", "125 %", "150 %", "175 %", "200 %", "250 %", "300 %"};
  sheet.choices("settings.size", sizes, set.scale_percent == 0 ? sizes[0] : std::to_string(set.scale_percent) + " %", [](Session& s, const std::string& t) {
    s.settings.scale_percent = t[0] == 'a' ? 0 : std::stoi(t);
    s.save_settings_now();
  });
  sheet.heading("Ground");
  sheet.choices("settings.theme", {"light", "dark"}, set.theme == app::Theme::dark ? "dark" : "light", [](Session& s, const std::string& t) {
    s.settings.theme = t == "dark" ? app::Theme::dark : app::Theme::light;
    s.save_settings_now();
  });
  sheet.heading("Printed card");
  sheet.say("What the card's 100 mm bar measures, in mm. Measure it with a steel rule or calipers after printing.");
  sheet.field("settings.print", "100 mm bar, mm", ui.session.settings_text.print, "100", [](Session& s, const std::string& t) {
    s.settings_text.print = t;
    if (const auto v = parse_typed_number(t); v && *v >= 50 && *v <= 200) {
      s.settings.print_scale = *v / 100;
      s.save_settings_now();
    }
  });
  sheet.heading("Degree-days");
  sheet.say("Sum over days of water temperature minus this base. A convention: no published constant for koi ulcers is known.");
  sheet.field("settings.base", "Base, \u00b0C", ui.session.settings_text.base, "0", [](Session& s, const std::string& t) {
    s.settings_text.base = t;
    if (const auto v = parse_typed_number(t); v && *v >= -5 && *v <= 20) s.set_degree_day_base(*v);
  });
  sheet.end("settings.close", "Close", nullptr);
}

#undef UROKO_SET

}  // namespace

void draw_dose(Ui& ui, const Box& box);

bool draw_form(Ui& ui, const Box& box) {
  const auto& s = ui.session;
  if (s.path_form)
    draw_path(ui, box);
  else if (s.log_form)
    draw_log(ui, box);
  else if (s.dose_form)
    draw_dose(ui, box);
  else if (s.fish_form)
    draw_fish(ui, box);
  else if (s.wound_form)
    draw_wound(ui, box);
  else if (s.visit_form)
    draw_visit(ui, box);
  else if (s.import_form)
    draw_import(ui, box);
  else if (s.settings_open)
    draw_settings(ui, box);
  else
    return false;
  return true;
}

}  // namespace uroko::gui
