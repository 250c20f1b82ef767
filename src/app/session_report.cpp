#include <exception>

#include "app/book_access.h"
#include "uroko/app/session.h"
#include "uroko/base/file.h"
#include "uroko/report/from_book.h"
#include "uroko/report/sheet.h"

namespace uroko::app {

void Session::write_report(const std::filesystem::path& file) {
  const auto* w = current_wound();
  if (!w || !access_) return;
  try {
    report::SheetChoices choices;
    choices.axis = bank.axis;
    write_file_whole(file, report::recheck_sheet(report::sheet_data(access_->book, w->wound.id, choices)));
    path_form.reset();
    tell(Notice::Kind::done, "The report is in " + file.string() + ".");
  } catch (...) {
    trouble("Writing the report", std::current_exception());
  }
}

}  // namespace uroko::app
