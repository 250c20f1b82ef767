
#include "app/book_access.h"
#include "uroko/app/session.h"
#include "uroko/base/file.h"
#include "uroko/report/from_book.h"
#include "uroko/report/sheet.h"

namespace uroko::app {

void Session::write_report(const std::filesystem::path& file) {
  const auto* w = current_wound();
  if (!w || !access_) return;
  report::SheetChoices choices;
  choices.axis = bank.axis;
  path_form.reset();
  Write after;  // with everything in it that was accepted before
  after.label = "Writing the report";
  after.done = [this, file, choices, folder = access_->folder, of = w->wound.id] {
    // A connection of the job's own: the sheet of a long course takes a while, and looking goes on meanwhile.
    jobs.start("Writing the report", [this, file, choices, folder, of](const Token&) -> Jobs::Delivery {
      const auto second = casebook::Book::open(folder, casebook::Access::read);
      write_file_whole(file, report::recheck_sheet(report::sheet_data(second, of, choices)));
      return [this, file] { tell(Notice::Kind::done, "The report is in " + file.string() + "."); };
    }, true);
  };
  write(std::move(after));
}

}  // namespace uroko::app
