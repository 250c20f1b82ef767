#include "uroko/app/commands.h"

#include <algorithm>
#include <cctype>
#include <cmath>

#include "uroko/app/session.h"
#include "uroko/base/text.h"

namespace uroko::app {

namespace {

using S = Session;

bool has_photo(const S& s) { return s.desk && s.desk->info; }
bool has_margin(const S& s) { return s.desk && s.desk->history.now().margin; }
bool has_wound(const S& s) { return s.current_wound() != nullptr; }
bool has_fish(const S& s) { return s.current_fish() != nullptr; }
bool has_book(const S& s) { return s.has_book(); }

void scale_ui(S& s, int step) {
  static constexpr int kSteps[] = {75, 90, 100, 110, 125, 150, 175, 200, 250, 300};
  const int now = s.settings.scale_percent == 0 ? 100 : s.settings.scale_percent;
  const auto at = std::min_element(std::begin(kSteps), std::end(kSteps), [&](int a, int b) { return std::abs(a - now) < std::abs(b - now); }) - std::begin(kSteps);
  s.settings.scale_percent = kSteps[std::clamp<long>(at + step, 0, std::size(kSteps) - 1)];
  s.save_settings_now();
}

void zoom(S& s, double factor) {
  auto& v = s.desk->view;
  v.zoom_about({v.width / 2, v.height / 2}, factor);
}

void show_margin(S& s) {
  ImagePoint low{1e18, 1e18}, high{-1e18, -1e18};
  for (const auto& part : s.desk->history.now().outline().parts)
    for (const auto& p : part.outer) {
      low = {std::min(low.x, p.x), std::min(low.y, p.y)};
      high = {std::max(high.x, p.x), std::max(high.y, p.y)};
    }
  s.desk->view.fit_box(low, high, 0.22 * std::min(s.desk->view.width, s.desk->view.height));
}

std::vector<Command> make() {
  std::vector<Command> c;
  const auto add = [&](std::string id, std::string label, std::string group, std::vector<std::string> keys, std::string tip, std::function<bool(const S&)> enabled,
                       std::function<void(S&)> run) { c.push_back({std::move(id), std::move(label), std::move(group), std::move(keys), std::move(tip), std::move(enabled), std::move(run)}); };

  for (int i = 0; i < kTools; ++i) {
    const auto id = static_cast<ToolId>(i);
    const auto& a = about(id);
    const bool correcting = id == ToolId::points || id == ToolId::inside || id == ToolId::outside || id == ToolId::push || id == ToolId::redraw || id == ToolId::hole || id == ToolId::part;
    add(std::string("tool.") + a.name, a.label, a.of_margin ? "Margin" : id == ToolId::grey ? "Colour" : "Scale", {a.key}, a.hint, correcting ? has_margin : has_photo, [id](S& s) { s.choose_tool(id); });
  }
  add("margin.accept", "Accept the margin", "Margin", {"Enter", "Ctrl+S"}, "Keep this measurement in the case book as a new revision", nullptr, [](S& s) {
    if (!s.desk) return;
    s.accept();
  });
  add("margin.propose", "Propose a margin", "Margin", {"A"}, "Look for the wound without a hint; you confirm it", has_photo, [](S& s) { s.propose_margin(); });
  add("margin.once_more", "Trace once more and take the mean", "Margin", {"Shift+L"}, "Keeps this trace; the mean of all traces is the area, and how far they lie apart its margin's doubt", has_margin, [](S& s) { s.trace_once_more(); });
  add("margin.clear", "Clear the margin", "Margin", {"Ctrl+Delete"}, "Start the margin again from nothing", has_margin, [](S& s) { s.clear_margin(); });
  add("margin.delete_point", "Take the chosen point away", "Margin", {"Delete", "Backspace"}, "Removes the point that was touched last", has_margin, [](S& s) { s.remove_point(); });
  add("edit.undo", "Undo", "Edit", {"Ctrl+Z", "Z"}, "Takes the last step back; each step has a name", [](const S& s) { return s.undo_label().has_value(); }, [](S& s) { s.undo(); });
  add("edit.redo", "Redo", "Edit", {"Ctrl+Shift+Z", "Ctrl+Y", "Shift+Z"}, "Does the step again that was taken back", [](const S& s) { return s.redo_label().has_value(); }, [](S& s) { s.redo(); });
  add("edit.escape", "Back out", "Edit", {"Escape"}, "Gives up the stroke, the form or the list that is open", nullptr, [](S& s) { s.escape(); });
  const auto nudge = [&](const std::string& to, const char* key, double x, double y) {
    add("margin.nudge_" + to, "Nudge the point " + to, "Margin", {key}, "One photo pixel; ten with Shift", has_margin, [x, y](S& s) { s.nudge(x, y); });
    add("margin.nudge_" + to + "_ten", "Nudge the point " + to + " by ten", "Margin", {std::string("Shift+") + key}, "Ten photo pixels", has_margin, [x, y](S& s) { s.nudge(10 * x, 10 * y); });
  };
  nudge("left", "Left", -1, 0);
  nudge("right", "Right", 1, 0);
  nudge("up", "Up", 0, -1);
  nudge("down", "Down", 0, 1);

  add("scale.card", "Find the printed card", "Scale", {"C"}, "Looks for the card anywhere in the photo", has_photo, [](S& s) { s.find_card(); });
  add("scale.flat", "Read the wound flat", "Scale", {"Shift+R"}, "Without the curve of the flank", [](const S& s) { return s.desk && s.desk->history.now().body; }, [](S& s) { s.read_flat(); });
  add("scale.lens", "Lens profile", "Scale", {"Ctrl+Shift+L"}, "Which one straightens this photo; choose another, none, or read one from a file", [](const S& s) { return s.desk && s.desk->history.now().map; }, [](S& s) { s.show_lenses(!s.lens_open); });
  add("scale.lens_file", "Read a lens profile from a file", "Scale", {"Ctrl+Alt+L"}, "A profile that uroko lens made", [](const S& s) { return s.desk && s.desk->history.now().map; }, [](S& s) { s.ask_path(PathForm::Purpose::lens); });
  add("scale.show", "Go to the scale", "Step", {"Ctrl+1"}, "How the photo gives millimetres", has_photo, [](S& s) { s.set_step(Step::scale); });
  add("margin.show", "Go to the margin", "Step", {"Ctrl+2"}, "Trace and correct the margin", has_photo, [](S& s) { s.set_step(Step::margin); });
  add("compare.show", "Compare visits", "Step", {"Ctrl+3", "Y"}, "Outlines in one frame, or two photos at the same millimetre scale", has_wound, [](S& s) { s.set_step(Step::compare); });
  add("compare.mode", "Nested outlines or side by side", "Step", {"Ctrl+4"}, "Changes how visits are compared", has_wound, [](S& s) {
    s.show_outlines(!s.compare.nested);
    if (s.step != Step::compare) s.set_step(Step::compare);
  });

  add("view.fit", "Fit the photo", "Photo", {"F"}, "The whole photo in the panel", has_photo, [](S& s) { s.desk->view.fit(s.desk->photo_width(), s.desk->photo_height()); });
  add("view.margin", "Fit the wound", "Photo", {"T"}, "The margin fills the panel", has_margin, show_margin);
  add("view.one", "One to one", "Photo", {"1"}, "One photo pixel a screen pixel", has_photo, [](S& s) { s.desk->view.one_to_one(); });
  add("view.in", "Zoom in", "Photo", {"+", "="}, "Also the wheel, towards the pointer", has_photo, [](S& s) { zoom(s, 1.25); });
  add("view.out", "Zoom out", "Photo", {"-"}, "Also the wheel, from the pointer", has_photo, [](S& s) { zoom(s, 0.8); });
  add("view.turn_right", "Turn the view right", "Photo", {"."}, "By 15 degrees; the photo itself is not changed", has_photo, [](S& s) { s.desk->view.turn(15); });
  add("view.turn_left", "Turn the view left", "Photo", {","}, "By 15 degrees; the photo itself is not changed", has_photo, [](S& s) { s.desk->view.turn(-15); });
  add("view.upright", "Turn the view upright", "Photo", {"0"}, "As the camera held it", has_photo, [](S& s) { s.desk->view.turn_deg = 0; });
  add("view.loupe", "Loupe", "Photo", {"M"}, "A magnified round at the pointer, with the margin in it", has_photo, [](S& s) { s.loupe_shown = !s.loupe_shown; });
  add("view.ghost", "Last visit's margin", "Photo", {"G"}, "Dashed, at the same millimetre scale", has_photo, [](S& s) { s.ghost_shown = !s.ghost_shown; });
  add("view.bed", "Show the bed and the glare", "Photo", {"O"}, "Each class has its own hatching", has_margin, [](S& s) { s.overlay_shown = !s.overlay_shown; });

  add("result.reasons", "All reasons of the verdict", "Result", {"Shift+I"}, "Every reason and what the verdict cannot know", has_margin, [](S& s) { s.reasons_open = !s.reasons_open; });
  add("result.budget", "Where the \u00b1 comes from, in words", "Result", {"I"}, "The parts of the area's uncertainty", has_margin, [](S& s) { s.budget_open = !s.budget_open; });
  add("visit.next", "Next visit", "Visit", {"PageDown", "J"}, "Opens the photo of the next visit", has_wound, [](S& s) { s.step_visit(1); });
  add("visit.previous", "Previous visit", "Visit", {"PageUp", "Shift+J"}, "Opens the photo of the visit before", has_wound, [](S& s) { s.step_visit(-1); });
  add("care.log", "Add to the care log", "Visit", {"N"}, "Cleaning, debridement, swab, sealing, water temperature ...", has_fish, [](S& s) { s.open_log(); });
  add("dose.sheet", "Dose sheet", "Visit", {"Ctrl+D"}, "Arithmetic for what the vet prescribed; no defaults", nullptr, [](S& s) { s.open_dose(); });
  add("report.write", "Write the report", "Visit", {"Ctrl+E"}, "One page with the curve, as PDF", has_wound, [](S& s) { s.ask_path(PathForm::Purpose::report); });
  add("visit.correct", "Correct the visit", "Visit", {"Shift+E"}, "Its day, its fish and wound, water, note; or put the photo aside", [](const S& s) { return s.current_wound() && s.desk && s.desk->place.photo; }, [](S& s) { s.open_visit(); });
  add("wound.edit", "Edit the wound", "Fish", {"Ctrl+Shift+E"}, "Name, body site, which margin is traced, closed; or put it aside", has_wound, [](S& s) { s.open_wound(); });
  add("fish.edit", "Edit the fish", "Fish", {"E"}, "Name, variety, size", has_fish, [](S& s) { s.open_fish(); });
  add("fish.next", "Next fish", "Fish", {"Ctrl+Down"}, "The next wound or fish in the list", has_book, [](S& s) { s.step_fish(1); });
  add("fish.previous", "Previous fish", "Fish", {"Ctrl+Up"}, "The wound or fish before it in the list", has_book, [](S& s) { s.step_fish(-1); });

  add("bank.axis", "Days, degree-days or dates", "Bank", {"Ctrl+A"}, "The time axis under the curve and the photos", has_wound, [](S& s) { s.bank.axis = static_cast<report::TimeAxis>((static_cast<int>(s.bank.axis) + 1) % 3); });
  add("bank.fold", "Fold the bank away", "Bank", {"Ctrl+B"}, "Curve and photo strip shrink to one line", has_book, [](S& s) { s.bank.folded = !s.bank_folded(); s.bank.by_room = false; });
  add("bank.others", "All wounds of the fish", "Bank", {"Ctrl+W"}, "The other wounds' curves on the same axis", has_fish, [](S& s) { s.bank.others = !s.bank.others; });
  add("list.fold", "Fold the fish list away", "Window", {"Ctrl+L"}, "More room for the photo", has_book, [](S& s) { s.list_shown = !s.list_visible(); s.list_by_width = false; });

  add("file.photos", "Add photos", "File", {"Ctrl+O"}, "Also by dropping them on the window", nullptr, [](S& s) { s.ask_path(PathForm::Purpose::photos); });
  add("file.open", "Open a case book", "File", {"Ctrl+Shift+O"}, "A folder or file ending in .uroko", nullptr, [](S& s) { s.ask_path(PathForm::Purpose::open_book); });
  add("file.new", "New case book", "File", {"Ctrl+N"}, "An empty one where you say", nullptr, [](S& s) { s.ask_path(PathForm::Purpose::new_book); });
  add("file.close", "Close the case book", "File", {"Ctrl+Shift+W"}, "Back to the first screen", has_book, [](S& s) { s.close_book(); });
  add("file.card", "Print the card", "File", {"Ctrl+P"}, "Writes the reference card as PDF, at true size", nullptr, [](S& s) { s.ask_path(PathForm::Purpose::card); });
  add("file.watch", "Watch a folder", "File", {"Ctrl+Shift+F"}, "New photos in it come up for a fish and a date", nullptr, [](S& s) { s.ask_path(PathForm::Purpose::watch); });
  add("window.commands", "Find a command", "Window", {"Ctrl+K", "F1"}, "Everything the window can do, with its keys", nullptr, [](S& s) { s.palette = {}; s.palette.open = true; });
  add("window.guide", "The guide", "Window", {"Ctrl+F1"}, "Photographing, references, tracing, reading the curve, limits and cautions", nullptr, [](S& s) { s.guide.open ? s.escape() : s.show_guide(s.guide.page); });
  add("tour.start", "Show the tour", "Window", {"F2"}, "What is where, in six stops; best in the sample case", has_wound, [](S& s) { s.start_tour(); });
  add("window.theme", "Light or dark", "Window", {"Ctrl+T"}, "Dark for the shed at night", nullptr, [](S& s) { s.settings.theme = s.settings.theme == Theme::light ? Theme::dark : Theme::light; s.save_settings_now(); });
  add("window.larger", "Larger", "Window", {"Ctrl++", "Ctrl+="}, "The whole window, 75 to 300 %", nullptr, [](S& s) { scale_ui(s, 1); });
  add("window.smaller", "Smaller", "Window", {"Ctrl+-"}, "The whole window, 75 to 300 %", nullptr, [](S& s) { scale_ui(s, -1); });
  add("window.settings", "Settings", "Window", {"Ctrl+,"}, "Size, light or dark, the card's print, degree-days", nullptr, [](S& s) { s.settings_open = !s.settings_open; });
  add("window.cancel_jobs", "Stop what is running", "Window", {"Ctrl+."}, "Cancels reading, finding and measuring", nullptr, [](S& s) { s.cancel_jobs(); });
  add("window.quit", "Quit", "Window", {"Ctrl+Q"}, "An unfinished trace is kept for the next start", nullptr, [](S& s) { s.leave(); });
  return c;
}

}  // namespace

std::string KeyPress::text() const {
  std::string out;
  if (ctrl) out += "Ctrl+";
  if (alt) out += "Alt+";
  const bool letter_or_name = key.size() > 1 || (key.size() == 1 && std::isalpha(static_cast<unsigned char>(key[0])));
  if (shift && letter_or_name) out += "Shift+";
  return out + key;
}

const std::vector<Command>& commands() {
  static const std::vector<Command> all = make();
  return all;
}

const Command* command(std::string_view id) {
  for (const auto& c : commands())
    if (c.id == id) return &c;
  return nullptr;
}

const Command* command_for(const Session& session, const KeyPress& press) {
  const auto text = press.text();
  for (const auto& c : commands())
    if (std::find(c.keys.begin(), c.keys.end(), text) != c.keys.end() && (!c.enabled || c.enabled(session))) return &c;
  return nullptr;
}

std::vector<const Command*> matching_commands(std::string_view text) {
  std::vector<std::string> words;
  for (auto& w : split(lower_ascii(trim(text)), ' '))
    if (!w.empty()) words.push_back(w);
  std::vector<std::pair<int, const Command*>> found;
  for (const auto& c : commands()) {
    const auto label = lower_ascii(c.label), rest = lower_ascii(c.group + " " + c.tip);
    int score = 0;
    bool all = true;
    for (const auto& w : words) {
      const auto at = label.find(w);
      if (at == 0)
        score += 8;
      else if (at != std::string::npos)
        score += label[at - 1] == ' ' ? 6 : 3;
      else if (rest.find(w) != std::string::npos)
        score += 1;
      else
        all = false;
    }
    if (all) found.emplace_back(score, &c);
  }
  std::stable_sort(found.begin(), found.end(), [](const auto& a, const auto& b) { return a.first > b.first; });
  std::vector<const Command*> out;
  out.reserve(found.size());
  for (const auto& [score, c] : found) out.push_back(c);
  return out;
}

}  // namespace uroko::app
