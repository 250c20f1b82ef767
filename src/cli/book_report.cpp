#include "cli/book_report.h"

#include <cstdio>
#include <filesystem>
#include <memory>
#include <nlohmann/json.hpp>

#include "uroko/base/error.h"
#include "uroko/base/file.h"
#include "uroko/base/text.h"
#include "uroko/photo/photo.h"
#include "uroko/report/export.h"
#include "uroko/report/from_book.h"

namespace uroko::cli {

namespace {

namespace fs = std::filesystem;
using casebook::Book;

struct ReportOptions {
  std::string book, fish, wound, pdf, picture, paper = "a4", axis = "days", since, date;
  bool as_json = false, dark = false;
};

struct ExtractOptions {
  std::string book, record, outlines, dictionary, fhir, figures, photos;
  bool as_json = false, keep_position = false;
};

Book opened(const std::string& folder) {
  auto book = Book::open(folder, casebook::Access::read);
  for (const auto& warning : book.warnings()) std::fprintf(stderr, "uroko: %s: note: %s\n", folder.c_str(), warning.text.c_str());
  return book;
}

std::optional<DateTime> date_or_nothing(const std::string& text) {
  if (text.empty()) return std::nullopt;
  if (auto date = DateTime::parse(text)) return date;
  throw Error(Fault::usage, "date", {}, "\"" + text + "\" is not a date", "write it as 2026-03-02");
}

casebook::Wound wound_of(const Book& book, const std::string& fish_name, const std::string& wound_name) {
  const auto fish = book.fish_named(fish_name);
  if (!fish) throw Error(Fault::usage, "no-such-fish", book.folder(), "there is no fish named " + fish_name, "see uroko book list");
  if (wound_name.empty()) {
    const auto wounds = book.wounds(fish->id);
    if (wounds.size() == 1) return wounds.front();
    throw Error(Fault::usage, "no-such-wound", book.folder(), fish->name + " has " + std::to_string(wounds.size()) + " wounds",
                "name one with --wound");
  }
  if (auto wound = book.wound_named(fish->id, wound_name)) return *wound;
  throw Error(Fault::usage, "no-such-wound", book.folder(), fish->name + " has no wound named " + wound_name, "see uroko book list");
}

report::TimeAxis axis_named(const std::string& name) {
  return name == "dates" ? report::TimeAxis::dates : name == "degree-days" ? report::TimeAxis::degree_days : report::TimeAxis::days;
}

void tell(bool as_json, const nlohmann::ordered_json& files) {
  if (as_json) {
    std::printf("%s\n", nlohmann::ordered_json{{"files", files}}.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace).c_str());
    return;
  }
  for (const auto& file : files) std::printf("wrote %s\n", file.get<std::string>().c_str());
}

void run_report(const ReportOptions& options) {
  if (options.pdf.empty() && options.picture.empty())
    throw Error(Fault::usage, "missing", {}, "no output was named", "give --pdf OUT.pdf or --picture OUT.png");
  if (!options.pdf.empty() && lower_ascii(fs::path(options.pdf).extension().string()) != ".pdf")
    throw Error(Fault::usage, "format", options.pdf, "the sheet is a PDF", "end the name in .pdf");
  const auto book = opened(options.book);
  const auto wound = wound_of(book, options.fish, options.wound);
  report::SheetChoices choices;
  choices.paper = options.paper == "letter" ? report::Paper::letter : report::Paper::a4;
  choices.axis = axis_named(options.axis);
  choices.since = date_or_nothing(options.since);
  choices.made = date_or_nothing(options.date);
  choices.by_skin = !options.pdf.empty();  // the picture draws no margins
  const auto data = report::sheet_data(book, wound.id, choices);
  auto files = nlohmann::ordered_json::array();
  if (!options.pdf.empty()) {
    write_file_whole(options.pdf, report::recheck_sheet(data));
    files.push_back(options.pdf);
  }
  if (!options.picture.empty()) {
    report::About about;
    about.title = data.fish + ", " + data.wound;
    const auto extension = lower_ascii(fs::path(options.picture).extension().string());
    write_file_whole(options.picture,
                     report::paint(report::course_picture(data, options.dark ? report::Theme::dark : report::Theme::light), extension, about));
    files.push_back(options.picture);
  }
  tell(options.as_json, files);
}

// A file name that any system takes: letters, digits and dashes of the name, with a number so that two never meet.
std::string file_stem(const std::string& fish, const std::string& wound, int number) {
  std::string stem = std::to_string(number);
  for (const auto& part : {fish, wound}) {
    std::string clean;
    for (char c : lower_ascii(part)) {
      if ((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'))
        clean += c;
      else if (!clean.empty() && clean.back() != '-')
        clean += '-';
    }
    while (!clean.empty() && clean.back() == '-') clean.pop_back();
    if (!clean.empty()) stem += "-" + clean.substr(0, 40);
  }
  return stem;
}

void write_figures(const Book& book, const fs::path& folder, nlohmann::ordered_json& files) {
  fs::create_directories(folder);
  int number = 0;
  for (const auto& fish : book.everything())
    for (const auto& wound : fish.wounds) {
      ++number;
      report::SheetChoices choices;
      choices.by_skin = false;  // no margins are drawn here
      const auto data = report::sheet_data(book, wound.wound.id, choices);
      const auto stem = file_stem(fish.fish.name, wound.wound.name, number);
      report::About about;
      about.title = fish.fish.name + ", " + wound.wound.name;
      const auto write = [&](const std::string& name, const std::string& bytes) {
        write_file_whole(folder / name, bytes);
        files.push_back((folder / name).string());
      };
      if (data.course) {
        const auto chart = report::healing_chart(*data.course, data.series);
        write(stem + "-curve.svg", report::paint(chart.scene, ".svg", about));
        write(stem + "-curve.png", report::paint(chart.scene, ".png", about));
      }
      write(stem + "-course.png", report::paint(report::course_picture(data), ".png", about));
    }
}

void write_photos(const Book& book, const fs::path& folder, bool keep_position, nlohmann::ordered_json& files) {
  fs::create_directories(folder);
  for (const auto& row : book.all<casebook::PhotoRow>()) {
    const auto original = book.photo_file(row.sha256);
    const auto bytes = read_file(original);
    fs::path out = folder / (row.sha256.substr(0, 16) + row.extension);
    std::string clean;
    if (keep_position) {
      clean = bytes;
    } else if (auto stripped = photo::without_position(bytes)) {
      clean = std::move(*stripped);
    } else {
      // A format whose metadata cannot be taken out as it stands is written anew, pixels alone.
      out.replace_extension(".jpg");
      clean = photo::encode_jpeg(photo::load(original).bgr, 95);
    }
    write_file_whole(out, clean);
    files.push_back(out.string());
  }
}

void run_extract(const ExtractOptions& options) {
  if (options.record.empty() && options.outlines.empty() && options.dictionary.empty() && options.fhir.empty() && options.figures.empty() &&
      options.photos.empty())
    throw Error(Fault::usage, "missing", {}, "no output was named", "give --record, --outlines, --dictionary, --fhir, --figures or --photos");
  const auto book = opened(options.book);
  auto files = nlohmann::ordered_json::array();
  const auto write = [&](const std::string& file, const auto& bytes) {
    if (file.empty()) return;
    write_file_whole(file, bytes());
    files.push_back(file);
  };
  write(options.record, [&] { return report::book_json(book); });
  write(options.outlines, [&] { return report::outlines_csv(book); });
  write(options.dictionary, [&] { return report::data_dictionary_csv(); });
  write(options.fhir, [&] { return report::fhir_bundle(book); });
  try {
    if (!options.figures.empty()) write_figures(book, options.figures, files);
    if (!options.photos.empty()) write_photos(book, options.photos, options.keep_position, files);
  } catch (const fs::filesystem_error& e) {
    throw Error(Fault::input, "write", e.path1(), "the folder could not be made: " + e.code().message(), "choose another folder");
  }
  tell(options.as_json, files);
}

}  // namespace

void add_book_report(CLI::App& book) {
  auto report = std::make_shared<ReportOptions>();
  auto* verb = book.add_subcommand("report", "The recheck sheet for the vet and the file (PDF), or one picture for a phone");
  verb->add_option("BOOK", report->book, "The case book, a folder NAME.uroko")->required();
  verb->add_option("--fish", report->fish, "Name of the fish")->required()->option_text("NAME");
  verb->add_option("--wound", report->wound, "Name of the wound (not needed when the fish has one)")->option_text("NAME");
  verb->add_option("--pdf", report->pdf, "Write the recheck sheet")->option_text("OUT.pdf");
  verb->add_option("--picture", report->picture, "Write first and latest photo, curve and verdict as one picture")->option_text("OUT.png|OUT.svg|OUT.pdf");
  verb->add_option("--paper", report->paper, "Paper of the sheet")->check(CLI::IsMember({"a4", "letter"}))->option_text("a4|letter");
  verb->add_option("--axis", report->axis, "Time axis of the curve")
      ->check(CLI::IsMember({"days", "dates", "degree-days"}))
      ->option_text("days|dates|degree-days");
  verb->add_option("--since", report->since, "List the care from this date on (the last sheet's)")->option_text("DATE");
  verb->add_option("--date", report->date, "Date printed on the sheet (default: now)")->option_text("DATE");
  verb->add_flag("--dark", report->dark, "Draw the picture for a dark ground");
  verb->add_flag("--json", report->as_json, "Print one JSON value");
  verb->footer("It measures and does arithmetic; it does not diagnose and recommends no drug, dose or treatment.");
  verb->callback([=] { run_report(*report); });

  auto extract = std::make_shared<ExtractOptions>();
  verb = book.add_subcommand("extract", "Parts of the record for other programs: JSON, outlines, FHIR, figures, photos without their position");
  verb->add_option("BOOK", extract->book, "The case book, a folder NAME.uroko")->required();
  verb->add_option("--record", extract->record, "The whole record as JSON (schema: assets/schema-json)")->option_text("OUT.json");
  verb->add_option("--outlines", extract->outlines, "Every traced margin as WKT in px and in mm")->option_text("OUT.csv");
  verb->add_option("--dictionary", extract->dictionary, "What each column of the tables means")->option_text("OUT.csv");
  verb->add_option("--fhir", extract->fhir, "Measures as an HL7 FHIR R4 bundle (one way)")->option_text("OUT.json");
  verb->add_option("--figures", extract->figures, "A curve and a course picture a wound")->option_text("FOLDER");
  verb->add_option("--photos", extract->photos, "Copies of the photos without GPS position")->option_text("FOLDER");
  verb->add_flag("--keep-position", extract->keep_position, "Leave the photos' position in");
  verb->add_flag("--json", extract->as_json, "Print one JSON value");
  verb->callback([=] { run_extract(*extract); });
}

}  // namespace uroko::cli
