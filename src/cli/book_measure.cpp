#include "cli/book.h"
#include "cli/measure_flags.h"
#include "uroko/base/error.h"
#include "uroko/base/text.h"
#include "uroko/casebook/measured.h"
#include "uroko/measure/one_photo.h"

namespace uroko::cli {

using namespace casebook;

namespace {

struct MeasureOptions : BookOptions, MeasureFlags {
  std::string photo;
};

/// The one photo named by its SHA-256, the beginning of it, or its original file name; measured or not.
PhotoRow need_photo(const Book& book, const std::string& name) {
  std::vector<PhotoRow> found;
  for (const auto& photo : book.all<PhotoRow>())
    if (photo.original_name == name || (name.size() >= 6 && photo.sha256.rfind(name, 0) == 0)) found.push_back(photo);
  if (found.size() == 1) return found.front();
  throw Error(Fault::usage, "photo", name, found.empty() ? "no photo of this name is in the book" : "several photos have this name",
              "name it by its SHA-256 (uroko book list --json shows them)");
}

void run_measure(const MeasureOptions& options) {
  auto request = request_of(options);
  if (options.photo.empty() && options.has_margin() && !options.automatic) misused("a margin is for one photo", "name it with --photo");
  auto book = open_book(options, Access::write);
  const auto waiting = options.photo.empty() ? book.unmeasured() : std::vector<PhotoRow>{need_photo(book, options.photo)};
  Json list = Json::array();
  int measured = 0;
  for (const auto& photo : waiting) {
    const auto wound = book.find<Wound>(photo.wound);
    const auto visit = book.find<Visit>(photo.visit);
    const auto fish = wound ? book.find<Fish>(wound->fish) : std::nullopt;
    Json item{{"sha256", photo.sha256}, {"name", photo.original_name}, {"fish", fish ? fish->name : ""}, {"wound", wound ? wound->name : ""}, {"date", visit ? visit->date.iso_date() : ""}};
    std::string line;
    try {
      request.file = book.photo_file(photo.sha256);
      if (options.site.empty()) request.options.site = wound ? wound->site : "";
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
  else if (options.has_margin() && !options.automatic) std::printf("%d of %zu photos measured.\n", measured, waiting.size());
  else std::printf("%d of %zu photos measured. Margins found without a hint are proposals: look at each of them.\n", measured, waiting.size());
  if (measured == 0 && !waiting.empty())
    throw Error(Fault::not_measured, "none", options.book, "none of the " + std::to_string(waiting.size()) + " photos without a measure could be measured", "trace them in the window: uroko open");
}

}  // namespace

void add_book_measure(CLI::App& book) {
  std::shared_ptr<MeasureOptions> options;
  auto* verb = book_verb(book, "measure", "Measure all photos without a measure that have a card and a margin to find, or one photo as told", options);
  verb->add_option("--photo", options->photo, "Only this photo (SHA-256 or original file name), even if measured before")->option_text("PHOTO");
  add_measure_options(*verb, *options);
  verb->footer("A margin found without a hint is a proposal, to be looked at by a person. Earlier measures are never overwritten.");
  verb->callback([=] { run_measure(*options); });
}

}  // namespace uroko::cli
