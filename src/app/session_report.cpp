#include <exception>

#include "app/book_access.h"
#include "uroko/app/session.h"
#include "uroko/base/file.h"
#include "uroko/report/sheet.h"

namespace uroko::app {

void Session::write_report(const std::filesystem::path& file) {
  const auto* f = current_fish();
  const auto* w = current_wound();
  if (!f || !w) return;
  try {
    report::SheetData data;
    data.fish = f->fish.name;
    data.variety = f->fish.variety;
    data.length_mm = f->fish.length_mm;
    data.wound = w->wound.name;
    data.site = w->wound.site;
    data.side = w->wound.side;
    data.traced_margin = w->wound.traced_margin;
    data.course = w->course;
    data.series = w->series;
    data.axis = bank.axis;
    data.made = DateTime::now();
    if (access_)
      if (const auto weight = access_->book.last_weighed(f->fish.id)) {
        data.weight_g = weight->grams;
        data.weighed = weight->date;
      }
    for (const auto& v : w->visits) {
      report::SheetVisit row;
      row.date = v.visit.date;
      row.date_from = photo::name(v.visit.date_from);
      row.water_c = v.visit.water_c;
      row.note = v.visit.note;
      if (const auto* p = v.measured()) {
        row.area_mm2 = Estimate{p->measure->area_mm2, p->measure->u_mm2, p->measure->low95, p->measure->high95};
        row.method = p->measure->margin_from;
      }
      data.visits.push_back(std::move(row));
      for (const auto& p : v.photos) data.files.push_back({v.visit.date, p.row.original_name, p.row.sha256});
    }
    for (const auto& n : nested_for_report()) data.margins.push_back({n.date, n.outline_mm, n.area_mm2});
    for (const auto& e : w->series.events) data.care.push_back({e.date, e.kind, e.note});
    write_file_whole(file, report::recheck_sheet(data));
    path_form.reset();
    tell(Notice::Kind::done, "The report is in " + file.string() + ".");
  } catch (...) {
    trouble("Writing the report", std::current_exception());
  }
}

std::vector<Nested> Session::nested_for_report() {
  recompute_nested();
  return nested_;
}

}  // namespace uroko::app
