#include "uroko/report/sheet.h"

#include <algorithm>
#include <cmath>

#include "report/flow.h"
#include "report/photo_panel.h"
#include "report/tagged.h"
#include "report/true_scale.h"
#include "report/wound_text.h"
#include "uroko/base/text.h"
#include "uroko/report/words.h"

namespace uroko::report {
namespace {

const Palette& inks() { return palette(Theme::light); }
const char* const kNone = "–";

std::string joined(const std::vector<std::string>& parts, const char* between) {
  std::string text;
  for (const auto& part : parts)
    if (!part.empty()) text += (text.empty() ? "" : between) + part;
  return text;
}

std::string program(const SheetData& data) { return data.program.empty() ? std::string("uroko ") + UROKO_VERSION : data.program; }

std::string grams_text(double grams) { return grams >= 1000 ? fixed_text(grams / 1000, 2) + " kg" : fixed_text(grams, 0) + " g"; }

Estimate last_area(const healing::Course& course) {
  const auto& look = course.looks.back();
  return area_estimate(look.area_mm2, std::max(0.0, look.u_mm2));
}

// No text of the head may push the rest off the page: what goes on longer ends in an ellipsis.
std::vector<std::string> at_most(std::vector<std::string> lines, std::size_t most, double size, double width, bool bold = false) {
  if (lines.size() <= most) return lines;
  lines.resize(most);
  lines.back() = fitted(lines.back() + "…", size, width, bold);
  if (!lines.back().ends_with("…")) lines.back() += "…";
  return lines;
}

void head(Flow& flow, const SheetData& data) {
  auto& page = flow.page();
  auto& items = page.items;
  const double top = flow.y(), koi_width = 178;
  const double left = flow.left(), text_room = flow.inner() - koi_width - 16;
  {
    const Tagged p(page, "P");
    items.push_back(Label{{left, top + 9}, "Recheck sheet", 9, inks().quiet, Anchor::left, true, 0});
    items.push_back(Label{{flow.right(), top + 9}, "made " + short_date(data.made, true), 9, inks().quiet, Anchor::right, false, 0});
  }
  items.push_back(PolyLine{{{left, top + 15}, {flow.right(), top + 15}}, inks().ink, 0.8, Dash::solid, false});
  double y = top + 36;
  {
    const Tagged h1(page, "H1");
    for (const auto& line : at_most(wrapped(data.fish.empty() ? "fish without a name" : data.fish, 17, text_room, true), 4, 17, text_room, true)) {
      items.push_back(Label{{left, y}, line, 17, inks().ink, Anchor::left, true, 0});
      y += 20;
    }
  }
  y -= 4;
  const auto row = [&](const std::string& what, const std::string& text) {
    if (text.empty()) return;
    const Tagged p(page, "P");
    items.push_back(Label{{left, y}, what, 8, inks().quiet, Anchor::left, false, 0});
    for (const auto& line : at_most(wrapped(text, 8.5, text_room - 62), 5, 8.5, text_room - 62)) {
      items.push_back(Label{{left + 62, y}, line, 8.5, inks().ink, Anchor::left, false, 0});
      y += 12;
    }
  };
  row("fish", joined({data.variety, data.length_mm ? fixed_text(*data.length_mm, 0) + " mm long" : ""}, " · "));
  row("weight", data.weight_g ? grams_text(*data.weight_g) + (data.weighed ? ", weighed " + short_date(*data.weighed, true) : "") : "not weighed");
  row("wound", wound_text(data));
  row("margin", data.traced_margin.empty() ? "which margin was traced is not said" : data.traced_margin);
  row(data.other_wounds.size() == 1 ? "other wound" : "other wounds", joined(data.other_wounds, "; "));
  row("owner", data.owner_label);

  KoiOutlineOptions options;
  options.width = koi_width;
  options.looks_left = lower_ascii(data.side) != "right";
  options.wound = data.place ? data.place : site_place(data.site);
  const auto koi = koi_outline(options);
  {
    const Tagged figure(page, "Figure",
                        "Outline of a koi seen from its " + std::string(options.looks_left ? "left" : "right") + " side, " +
                            (options.wound ? "the wound marked at the " + site_near(*options.wound) : "no body site given"));
    place(page, koi.scene, {flow.right() - koi_width, top + 21});
    if (!options.wound)
      items.push_back(Label{{flow.right() - koi_width / 2, top + 31 + koi.scene.height}, "body site not given", 7.5, inks().quiet, Anchor::middle, false, 0});
  }
  flow.space(std::max(y - top - 2, koi.scene.height + (options.wound ? 26 : 36)));
}

// Everything that speaks for the verdict, the chance of a closing date last.
std::vector<std::string> reasons(const healing::Course& course) {
  auto all = course.reasons;
  const bool said = std::any_of(all.begin(), all.end(), [](const std::string& r) { return r.find("closes between") != std::string::npos; });
  if (course.closure && !said)
    all.push_back("if it goes on as it does now it closes between " + short_date(course.closure->earliest, true) + " and " + short_date(course.closure->latest, true) +
                  ": a range between two models, not a promise");
  return all;
}

void answer(Flow& flow, const SheetData& data) {
  if (!data.course) {
    flow.heading("Nothing was measured yet", 30);
    flow.paragraph(data.visits.empty() ? "The record holds no visit of this wound."
                                       : "The record holds visits, but no photo of this wound has a measure. Measure them and make the sheet again.");
    return;
  }
  const auto& course = *data.course;
  const Estimate area = last_area(course);
  const bool known = course.looks.back().u_mm2 > 0;
  flow.need(70);
  auto& page = flow.page();
  auto& items = page.items;
  const double top = flow.y(), left = flow.left(), split = left + 178;
  items.push_back(PolyLine{{{left, top}, {flow.right(), top}}, inks().hairline, 0.7, Dash::solid, false});
  {
    const Tagged p(page, "P");
    const std::string value = mm2_text(area.value);
    items.push_back(Label{{left, top + 32}, value, 28, inks().ink, Anchor::left, true, 0});
    items.push_back(Label{{left + text_width(value, 28, true) + 5, top + 32}, "mm²", 11, inks().quiet, Anchor::left, false, 0});
    items.push_back(Label{{left, top + 47}, known ? "95 % interval " + range_text(area) + " mm²" : "no interval was given", 8.5, inks().ink, Anchor::left, false, 0});
    items.push_back(Label{{left, top + 59}, "on " + short_date(course.looks.back().date, true), 8.5, inks().quiet, Anchor::left, false, 0});
  }
  {
    const Tagged h2(page, "H2");
    items.push_back(Label{{split, top + 22}, healing::words(course.verdict), 14, inks().ink, Anchor::left, true, 0});
  }
  // The first reasons stand beside the number, the others below in two columns, so that photos and curve stay on the first page.
  const Tagged list(page, "L");
  const auto all = reasons(course);
  const auto put = [&](const std::vector<std::string>& lines, double x, double y, double size) {
    const Tagged item(page, "LI"), body(page, "LBody");
    items.push_back(Disc{{x + 1.5, y - size * 0.32}, 1, inks().quiet, inks().quiet, 0});
    for (const auto& line : lines) {
      items.push_back(Label{{x + 8, y}, line, size, inks().ink, Anchor::left, false, 0});
      y += size * 1.33;
    }
    return y;
  };
  double y = top + 35;
  std::size_t next = 0;
  for (; next < all.size(); ++next) {
    const auto lines = wrapped(all[next], 8, flow.right() - split - 8);
    if (next > 0 && y + 8 * 1.33 * static_cast<double>(lines.size() - 1) > top + 62) break;
    y = put(lines, split, y, 8);
  }
  double bottom = std::max(top + 63, y - 6);
  if (next < all.size()) {
    constexpr double kSize = 7.6, kGap = 16;
    const double w = (flow.inner() - kGap) / 2;
    std::vector<std::vector<std::string>> rest;
    std::size_t lines = 0;
    for (std::size_t i = next; i < all.size(); ++i) {
      rest.push_back(wrapped(all[i], kSize, w - 8));
      lines += rest.back().size();
    }
    double column_y = bottom + 13, x = left, lowest = 0;
    std::size_t so_far = 0;
    for (const auto& reason : rest) {
      if (x == left && so_far > 0 && 2 * (so_far + reason.size()) > lines + 1) {
        x = left + w + kGap;
        column_y = bottom + 13;
      }
      column_y = put(reason, x, column_y, kSize);
      so_far += reason.size();
      lowest = std::max(lowest, column_y);
    }
    bottom = lowest - 7;
  }
  flow.space(bottom - top + 4);
}

void photos(Flow& flow, const SheetData& data, double h) {
  if (!data.latest) return;
  const double gap = 8, w = (flow.inner() - gap) / 2;
  flow.need(h + 19);
  flow.space(6);
  Scene row{flow.inner(), h + 13, {}};
  const std::string when = short_date(data.latest->date, true);
  const bool shown = !data.latest->bgr.empty(), traced = !data.latest->outline.empty();
  const auto panel = [&](bool margin, double x, const std::string& words) {
    const Tagged figure(row, "Figure", shown ? "Photo of the wound on " + when + (margin && traced ? ", its traced margin drawn on it" : "") : data.latest->trouble);
    place(row, photo_panel(*data.latest, w, h, margin, inks()), {x, 0});
    row.items.push_back(Label{{x, h + 10}, words, 7.5, inks().quiet, Anchor::left, false, 0});
  };
  panel(false, 0, "latest photo, " + when);
  panel(true, w + gap, traced ? "the same with the traced margin" : "no margin was traced");
  flow.put(row, flow.left());
}

void curve(Flow& flow, const SheetData& data, double height) {
  if (!data.course) return;
  const auto& course = *data.course;
  ChartOptions options;
  options.width = flow.inner();
  options.height = height;
  options.axis = data.axis;
  options.text_size = 7.5;
  options.ground = false;
  flow.space(6);
  flow.put(healing_chart(course, data.series, options).scene, flow.left(),
           "Healing curve: wound area from " + mm2_text(course.looks.front().area_mm2) + " mm² on " + short_date(course.looks.front().date, true) + " to " +
               mm2_text(course.looks.back().area_mm2) + " mm² on " + short_date(course.looks.back().date, true) + ", " + healing::words(course.verdict) +
               "; with intervals, care and water temperature. The table of visits holds its numbers.");
}

std::string advance(const Estimate& e) {
  const auto text = [](double v) { return (v < 0 ? "−" : "") + fixed_text(std::abs(v), 3); };
  return text(e.value) + " (" + text(e.low95) + " to " + text(e.high95) + ")";
}

std::string percent(const Estimate& e) { return signed_text(e.value, 1) + " (" + signed_text(e.low95, 1) + " to " + signed_text(e.high95, 1) + ")"; }

struct Table {
  std::vector<Column> columns;
  std::vector<std::vector<Cell>> rows;
  double size = 6.7;
};

Table visits_table(const Flow& flow, const SheetData& data) {
  std::vector<Column> columns{{"date", "and its source", 66, Anchor::left},
                              {"area", "mm² (95 %)", 64, Anchor::right},
                              {"change", "% since baseline (95 %)", 92, Anchor::right},
                              {"advance", "mm a day (95 %)", 84, Anchor::right},
                              {"gran.", "%", 24, Anchor::right},
                              {"slough", "%", 28, Anchor::right},
                              {"necr.", "%", 24, Anchor::right},
                              {"pale", "%", 21, Anchor::right},
                              {"unsure", "%", 28, Anchor::right},
                              {"glare", "%", 24, Anchor::right},
                              {"water", "°C", 26, Anchor::right},
                              {"scale,", "margin, who", 0, Anchor::left}};
  double used = 0;
  for (const auto& c : columns) used += c.width;
  columns.back().width = flow.inner() - used;
  std::vector<std::vector<Cell>> rows;
  for (const auto& v : data.visits) {
    std::vector<Cell> row;
    const auto add = [&](std::string text) { row.push_back({text.empty() ? kNone : std::move(text), false, inks().ink}); };
    add(joined({v.date.iso_date(), v.date_from}, " "));
    add(v.area_mm2 ? mm2_text(v.area_mm2->value) + (v.area_mm2->u > 0 ? " (" + range_text(*v.area_mm2) + ")" : "") : "");
    add(v.restart ? "restart" : v.change_percent ? percent(*v.change_percent) : "");
    if (v.restart) row.back().colour = inks().restart;
    add(v.advance_mm_per_day ? advance(*v.advance_mm_per_day) : "");
    for (int t = 0; t < bed::kTissues; ++t) add(v.bed ? fixed_text(100 * (*v.bed)[static_cast<std::size_t>(t)], 0) : "");
    add(v.water_c ? fixed_text(*v.water_c, 1) : "");
    add(joined({joined({v.scale_kind, v.method}, ", "), v.who}, "; "));
    rows.push_back(std::move(row));
    if (!v.note.empty()) rows.back().back().text += "\n" + v.note;
  }
  return {std::move(columns), std::move(rows)};
}

constexpr double kVisitsHeading = 24, kVisitsNote = 14;

void visits(Flow& flow, const SheetData& data, const Table& table) {
  if (data.visits.empty()) return;
  flow.heading("Visits", 50);
  flow.table(table.columns, table.rows, table.size);
  flow.space(3);
  flow.paragraph("Bed shares are of the whole wound, read from colour: trends, not fine differences. Pale may be new epithelium or poor perfusion.",
                 7);
}

void care(Flow& flow, const SheetData& data) {
  const std::string title = data.last_sheet ? "Care since the last sheet (" + short_date(*data.last_sheet, true) + ")" : "Care";
  flow.heading(title, 30);
  if (data.care.empty()) {
    flow.paragraph("None was logged.");
    return;
  }
  // One row a date.
  std::vector<std::vector<Cell>> rows;
  for (const auto& c : data.care) {
    const std::string date = c.date.iso_date(), what = c.kind + (c.what.empty() ? "" : " (" + c.what + ")");
    if (!rows.empty() && rows.back()[0].text == date)
      rows.back()[1].text += "; " + what;
    else
      rows.push_back({{date, false, inks().ink}, {what, false, inks().ink}});
  }
  flow.table({{"date", "", 66, Anchor::left}, {"what, with what", "", flow.inner() - 66, Anchor::left}}, rows, 8);
}

void swabs(Flow& flow, const SheetData& data) {
  if (data.swabs.empty()) return;
  flow.heading("Swabs", 36);
  for (const auto& s : data.swabs) {
    flow.paragraph(short_date(s.taken, true) + (s.text.empty() ? "" : " · " + s.text), 8.5, true);
    if (s.lines.empty()) flow.paragraph("no result yet", 8.5, false, 11);
    if (!s.lines.empty()) flow.open("L");
    for (const auto& line : s.lines) flow.bullet(line);
    if (!s.lines.empty()) flow.close();
  }
  flow.paragraph("Letters are the laboratory's. A surface swab shows what is on the surface.", 7);
}

void doses(Flow& flow, const SheetData& data) {
  if (data.doses.empty()) return;
  flow.heading("Prescription arithmetic", 40);
  for (const auto& d : data.doses) {
    flow.paragraph(d.title, 8.5, true);
    for (const auto& line : d.lines) flow.paragraph(line, 8.5, false, 11);
    flow.space(3);
  }
  flow.paragraph(
      "Drug, dose and interval are the prescribing vet's; this is arithmetic on what was written. Check % against mg/mL (5 % = 50 mg/mL), the expiry "
      "date, and the withdrawal time for food fish.",
      7.5);
}

void limits(Flow& flow, const SheetData& data) {
  flow.heading("Limits and cautions", 44);
  flow.open("L");
  for (const auto& text : data.cautions) flow.bullet(text, 8);
  if (data.course)
    for (const auto& w : data.course->warnings) flow.bullet(w.text, 8);
  for (const char* text :
       {"This sheet measures and does arithmetic. It does not diagnose and recommends no drug, dose or interval; those are the prescribing vet's, "
        "under local law.",
        "An interval holds what the program knows of: the margin, the scale, the print, tilt and curvature. It does not hold a wrong margin or a "
        "reference that did not lie level with the wound.",
        "A debridement enlarges the wound on purpose: the baseline restarts after it. Cold water slows healing.",
        "Sedation, debridement and injection are for trained hands and local rules. Wear gloves: some fish bacteria infect people."})
    flow.bullet(text, 8);
  flow.close();
}

void files(Flow& flow, const SheetData& data) {
  if (data.files.empty()) return;
  flow.heading("Photos measured (SHA-256 of the original files)", 30);
  std::vector<std::vector<Cell>> rows;
  for (const auto& f : data.files)
    rows.push_back({{f.date.iso_date(), false, inks().ink}, {f.name, false, inks().ink}, {f.sha256, false, inks().quiet}});
  flow.table({{"date", "", 54, Anchor::left}, {"file", "", flow.inner() - 54 - 330, Anchor::left}, {"SHA-256", "", 330, Anchor::left}}, rows, 6.8);
}

}  // namespace

std::vector<Scene> sheet_pages(const SheetData& data) {
  const bool letter = data.paper == Paper::letter;
  const double width = letter ? 612 : 210 / 25.4 * 72, height = letter ? 792 : 297 / 25.4 * 72;  // ISO 216; ANSI A
  Flow flow(width, height, 34, joined({"Recheck sheet", data.fish, data.wound, data.made.iso_date()}, " · "));
  head(flow, data);
  answer(flow, data);
  // Photos and curve take what the first page has left; the table of visits stands under them if it fits whole, else it begins the second page.
  const auto table = visits_table(flow, data);
  const double wide = (flow.inner() - 8) / 2, around = (data.latest ? 19 : 0) + (data.course ? 6 : 0), room = flow.room() - around;
  const double below = kVisitsHeading + flow.table_height(table.columns, table.rows, table.size) + kVisitsNote;
  const double least = (data.latest ? 0.46 * wide : 0) + (data.course ? 180 : 0);
  const bool together = data.visits.empty() || room - below >= least;
  const double free = together && !data.visits.empty() ? room - below : room;
  const double photo_h = std::clamp(free - (data.course ? 206 : 0), 0.46 * wide, (together ? 0.54 : 0.62) * wide);
  photos(flow, data, photo_h);
  curve(flow, data, std::clamp(free - (data.latest ? photo_h : 0), 180.0, together ? 230.0 : 330.0));
  if (!together && below <= flow.page_room() && data.course) flow.new_page();
  visits(flow, data, table);
  if (!data.margins.empty()) true_scale_margins(flow, data);
  care(flow, data);
  swabs(flow, data);
  doses(flow, data);
  limits(flow, data);
  files(flow, data);
  return flow.finished(joined({program(data), "measures and does arithmetic; it does not diagnose", "made " + data.made.iso_date()}, " · "));
}

std::string recheck_sheet(const SheetData& data) {
  About about;
  about.title = joined({"Recheck sheet", data.fish, data.wound}, ", ");
  about.subject = data.course ? "Wound area and healing, " + std::string(healing::words(data.course->verdict)) : "Wound record";
  about.author = program(data);
  about.created = data.made.has_time ? data.made.iso() : data.made.iso_date() + "T00:00:00";
  return paint_pages(sheet_pages(data), about);
}

}  // namespace uroko::report
