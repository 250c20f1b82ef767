#include "cli/book.h"
#include "uroko/base/error.h"
#include "uroko/base/text.h"
#include "uroko/casebook/measured.h"
#include "uroko/measure/one_photo.h"

namespace uroko::cli {

using namespace casebook;

namespace {

void run_measure(const BookOptions& options) {
  auto book = open_book(options, Access::write);
  const auto waiting = book.unmeasured();
  Json list = Json::array();
  int measured = 0;
  for (const auto& photo : waiting) {
    const auto wound = book.find<Wound>(photo.wound);
    const auto visit = book.find<Visit>(photo.visit);
    const auto fish = wound ? book.find<Fish>(wound->fish) : std::nullopt;
    Json item{{"sha256", photo.sha256}, {"name", photo.original_name}, {"fish", fish ? fish->name : ""}, {"wound", wound ? wound->name : ""}, {"date", visit ? visit->date.iso_date() : ""}};
    std::string line;
    try {
      measure::PhotoRequest request;
      request.file = book.photo_file(photo.sha256);
      request.margin = measure::NoHint{};
      const auto result = measure::measure_photo(request);
      // Saved one by one: what is printed as measured is on the disk.
      const auto id = book.add(to_row(photo.id, result.map, result.margin, result.measurement, &result.bed, request.options));
      const auto& area = result.measurement.area_mm2;
      item["measure"] = id;
      item["area_mm2"] = {{"value", area.value}, {"u", area.u}, {"low95", area.low95}, {"high95", area.high95}};
      line = fixed_text(area.value, 1) + " mm2 (" + fixed_text(area.low95, 1) + " to " + fixed_text(area.high95, 1) + ")";
      ++measured;
    } catch (const Error& e) {
      if (e.fault() == Fault::book) throw;
      item["error"] = {{"code", e.code()}, {"text", e.happened()}};
      line = "not measured: " + e.happened();
    }
    if (!options.as_json)
      std::printf("%s  %s, %s: %s\n", visit ? visit->date.iso_date().c_str() : "", fish ? fish->name.c_str() : "", photo.original_name.c_str(), line.c_str());
    list.push_back(std::move(item));
  }
  if (options.as_json) print({{"measured", measured}, {"photos", list}});
  else if (waiting.empty()) std::printf("Every photo is measured.\n");
  else std::printf("%d of %zu photos measured. Margins found without a hint are proposals: look at each of them.\n", measured, waiting.size());
  if (measured == 0 && !waiting.empty())
    throw Error(Fault::not_measured, "none", options.book, "none of the " + std::to_string(waiting.size()) + " photos without a measure could be measured", "trace them in the window: uroko open");
}

}  // namespace

void add_book_measure(CLI::App& book) {
  std::shared_ptr<BookOptions> options;
  auto* verb = book_verb(book, "measure", "Measure all photos without a measure that have a card and a margin to find", options);
  verb->footer("A margin found without a hint is a proposal, to be looked at by a person. Earlier measures are never overwritten.");
  verb->callback([=] { run_measure(*options); });
}

}  // namespace uroko::cli
