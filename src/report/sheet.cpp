#include "uroko/report/sheet.h"

#include <algorithm>
#include <cmath>

#include "report/flow.h"
#include "report/photo_panel.h"
#include "report/true_scale.h"
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
  Estimate area = symmetric_estimate(look.area_mm2, std::max(0.0, look.u_mm2));
  area.low95 = std::max(0.0, area.low95);
  return area;
}

void head(Flow& flow, const SheetData& data) {
  auto& items = flow.page().items;
  const double top = flow.y(), koi_width = 178;
  const double left = flow.left(), text_room = flow.inner() - koi_width - 16;
  items.push_back(Label{{left, top + 9}, "Recheck sheet", 9, inks().quiet, Anchor::left, true, 0});
  items.push_back(Label{{flow.right(), top + 9}, "made " + short_date(data.made, true), 9, inks().quiet, Anchor::right, false, 0});
  items.push_back(PolyLine{{{left, top + 15}, {flow.right(), top + 15}}, inks().ink, 0.8, Dash::solid, false});
  double y = top + 38;
  for (const auto& line : wrapped(data.fish.empty() ? "fish without a name" : data.fish, 17, text_room, true)) {
    items.push_back(Label{{left, y}, line, 17, inks().ink, Anchor::left, true, 0});
    y += 20;
  }
  y -= 4;
  const auto row = [&](const std::string& what, const std::string& text) {
    if (text.empty()) return;
    items.push_back(Label{{left, y}, what, 8, inks().quiet, Anchor::left, false, 0});
    for (const auto& line : wrapped(text, 8.5, text_room - 62)) {
      items.push_back(Label{{left + 62, y}, line, 8.5, inks().ink, Anchor::left, false, 0});
      y += 12;
    }
  };
  row("fish", joined({data.variety, data.length_mm ? fixed_text(*data.length_mm, 0) + " mm long" : ""}, " · "));
  row("weight", data.weight_g ? grams_text(*data.weight_g) + (data.weighed ? ", weighed " + short_date(*data.weighed, true) : "") : "not weighed");
  row("wound", joined({data.wound, data.site, data.side.empty() ? "" : data.side + " side"}, " · "));
  row("margin", data.traced_margin.empty() ? "which margin was traced is not said" : data.traced_margin);
  row("owner", data.owner_label);

  KoiOutlineOptions options;
  options.width = koi_width;
  options.looks_left = lower_ascii(data.side) != "right";
  options.wound = data.place ? data.place : site_place(data.site);
  const auto koi = koi_outline(options);
  place(flow.page(), koi.scene, {flow.right() - koi_width, top + 24});
  if (!options.wound)
    items.push_back(
        Label{{flow.right() - koi_width / 2, top + 34 + koi.scene.height}, "body site not given", 7.5, inks().quiet, Anchor::middle, false, 0});
  flow.space(std::max(y - top, koi.scene.height + 36) + 2);
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
  auto& items = flow.page().items;
  const double top = flow.y(), left = flow.left(), split = left + 178;
  items.push_back(PolyLine{{{left, top}, {flow.right(), top}}, inks().hairline, 0.7, Dash::solid, false});
  const std::string value = mm2_text(area.value);
  items.push_back(Label{{left, top + 34}, value, 28, inks().ink, Anchor::left, true, 0});
  const double after = left + text_width(value, 28, true) + 5;
  items.push_back(Label{{after, top + 34}, "mm²", 11, inks().quiet, Anchor::left, false, 0});
  items.push_back(Label{
      {left, top + 49}, known ? "95 % interval " + range_text(area) + " mm²" : "no interval was given", 8.5, inks().ink, Anchor::left, false, 0});
  items.push_back(Label{{left, top + 61}, "on " + short_date(course.looks.back().date, true), 8.5, inks().quiet, Anchor::left, false, 0});
  double y = top + 22;
  items.push_back(Label{{split, y}, healing::words(course.verdict), 14, inks().ink, Anchor::left, true, 0});
  y += 15;
  double bottom = top + 68;
  // Many reasons are set smaller, so that the photos and the curve stay on the first page.
  const double size = course.reasons.size() > 5 ? 7.6 : 8.5;
  std::vector<std::string> lines;
  bool closure_said = false;
  for (const auto& reason : course.reasons) {
    closure_said = closure_said || reason.find("closes between") != std::string::npos;
    for (const auto& line : wrapped(reason, size, flow.right() - split)) lines.push_back(line);
  }
  if (course.closure && !closure_said)
    for (const auto& line : wrapped("Closed between " + short_date(course.closure->earliest, true) + " and " + short_date(course.closure->latest, true) +
                                        " if it goes on as it does now: a range between two models, not a promise.",
                                    size, flow.right() - split))
      lines.push_back(line);
  for (const auto& line : lines) {
    items.push_back(Label{{split, y}, line, size, inks().ink, Anchor::left, false, 0});
    y += size * 1.33;
  }
  bottom = std::max(bottom, y - 4);
  flow.space(bottom - top + 4);
}

void photos(Flow& flow, const SheetData& data) {
  if (!data.latest) return;
  const double gap = 8, w = (flow.inner() - gap) / 2, h = w * 0.54;
  flow.need(h + 16);
  Scene row{flow.inner(), h + 13, {}};
  place(row, photo_panel(*data.latest, w, h, false, inks()), {0, 0});
  place(row, photo_panel(*data.latest, w, h, true, inks()), {w + gap, 0});
  const std::string when = short_date(data.latest->date, true);
  row.items.push_back(Label{{0, h + 10}, "latest photo, " + when, 7.5, inks().quiet, Anchor::left, false, 0});
  row.items.push_back(Label{{w + gap, h + 10},
                            data.latest->outline.empty() ? "no margin was traced" : "the same with the traced margin",
                            7.5,
                            inks().quiet,
                            Anchor::left,
                            false,
                            0});
  flow.space(6);
  flow.put(row, flow.left());
}

void curve(Flow& flow, const SheetData& data) {
  if (!data.course) return;
  ChartOptions options;
  options.width = flow.inner();
  options.height = 206;
  options.axis = data.axis;
  options.text_size = 7.5;
  options.ground = false;
  flow.space(6);
  flow.put(healing_chart(*data.course, data.series, options).scene, flow.left());
}

std::string advance(const Estimate& e) {
  const auto text = [](double v) { return (v < 0 ? "−" : "") + fixed_text(std::abs(v), 3); };
  return text(e.value) + " (" + text(e.low95) + " to " + text(e.high95) + ")";
}

std::string percent(const Estimate& e) { return signed_text(e.value, 1) + " (" + signed_text(e.low95, 1) + " to " + signed_text(e.high95, 1) + ")"; }

void visits(Flow& flow, const SheetData& data) {
  if (data.visits.empty()) return;
  flow.heading("Visits", 50);
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
  flow.table(columns, rows, 6.7);
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
    for (const auto& line : s.lines) flow.bullet(line);
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
  photos(flow, data);
  curve(flow, data);
  visits(flow, data);
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
