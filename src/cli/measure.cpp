// uroko measure: one photo, or a batch on all cores.
#include <fmt/format.h>
#include <malloc.h>

#include <atomic>
#include <condition_variable>
#include <cstdio>
#include <mutex>
#include <nlohmann/json.hpp>
#include <opencv2/core/utility.hpp>
#include <thread>

#include "cli/cli.h"
#include "cli/measure_flags.h"
#include "uroko/base/error.h"
#include "uroko/base/file.h"
#include "uroko/base/text.h"
#include "uroko/measure/budget.h"
#include "uroko/measure/one_photo.h"
#include "uroko/photo/endings.h"
#include "uroko/report/annotated.h"

namespace uroko::cli {

namespace {

namespace fs = std::filesystem;
using nlohmann::json;

struct Flags : MeasureFlags {
  std::vector<std::string> photos;
  std::string batch, annotated;
  bool as_json = false;
};

json error_json(const Error& e, const fs::path& file) {
  std::string text = e.happened();
  if (!e.advice().empty()) text += "; " + e.advice();
  return {{"photo", {{"file", file.string()}}}, {"error", {{"code", e.code()}, {"text", text}}}};
}

/// Bytes of a file name that are not UTF-8 must not stop the output.
std::string dumped(const json& value, int indent = -1) { return value.dump(indent, ' ', false, json::error_handler_t::replace); }

void print_sizes(const measure::Measurement& m) {
  fmt::print("  area       {:.1f} mm2   95 % interval {:.1f} to {:.1f}\n", m.area_mm2.value, m.area_mm2.low95, m.area_mm2.high95);
  fmt::print("  perimeter  {:.1f} mm, length {:.1f} mm, width {:.1f} mm\n", m.perimeter_mm.value, m.length_mm.value, m.width_mm.value);
}

void print_budget(const measure::Measurement& m) {
  fmt::print("  budget     ");
  for (std::size_t k = 0; k < m.budget.size(); ++k) fmt::print("{}{} {:.2f}", k ? ", " : "", m.budget[k].source, m.budget[k].u_mm2);
  fmt::print(" mm2\n");
  // Halving what is a tenth of the variance narrows the interval by 4 %: less than that is not worth the trouble.
  for (const auto& line : m.budget)
    if (const double share = measure::share_of(line, m.budget); share > 0.1)
      fmt::print("  {:<10} {}, {:.0f} % of the doubt: {}; to lessen it: {}\n", "", line.source, 100 * share, measure::words_of(line.source).means,
                 measure::words_of(line.source).reduce);
}

void print_for_people(const measure::PhotoResult& r) {
  const auto& m = r.measurement;
  fmt::print("{}\n", r.photo.info.file.string());
  fmt::print("  taken      {} ({})\n", r.photo.info.taken ? r.photo.info.taken->iso() : "unknown", photo::name(r.photo.info.taken_from));
  fmt::print("  scale      {}, {:.4f} mm/px, tilt {}, residual {:.2f} px\n", scale::name(r.map.kind), r.map.mm_per_px(centroid(r.margin.outline)),
             r.map.tilt_known ? fmt::format("{:.1f} deg", r.map.tilt_deg) : "unknown", r.map.rms_px);
  if (r.check) fmt::print("  check      the {} gives {:.1f} mm2: {}\n", scale::name(r.check->map.kind), r.check->area_mm2, r.check->agrees ? "they agree" : "they disagree");
  if (!r.measurement.traces_mm2.empty()) {
    fmt::print("  traces     ");
    for (std::size_t k = 0; k < r.measurement.traces_mm2.size(); ++k) fmt::print("{}{:.1f}", k ? ", " : "", r.measurement.traces_mm2[k]);
    fmt::print(" mm2\n");
  }
  print_sizes(m);
  fmt::print("  bed        ");
  for (int k = 0; k < bed::kTissues; ++k) {
    const auto tissue = static_cast<bed::Tissue>(k);
    fmt::print("{}{} {:.0f} %", k ? ", " : "", bed::name(tissue), 100 * r.bed[tissue].share);
  }
  fmt::print("\n");
  print_budget(m);
  for (const auto* list : {&m.warnings, &r.bed.warnings})
    for (const auto& w : *list) fmt::print("  {}: {}\n", w.code, w.text);
}

void measure_one(const Flags& f) {
  if (!f.has_margin()) misused("no margin was given", "give one of --outline, --around, --seed, --auto");
  auto request = request_of(f);
  request.file = f.photos.front();
  const auto result = measure::measure_photo(request);
  if (!f.annotated.empty()) {
    if (lower_ascii(fs::path(f.annotated).extension().string()) != ".png") misused("--annotated writes PNG", "name a file ending in .png");
    write_file_whole(f.annotated, report::annotated_png(result));
  }
  if (f.as_json)
    fmt::print("{}\n", dumped(to_json(result), 2));
  else
    print_for_people(result);
}

/// Several photos of one wound on one visit.
void measure_several(const Flags& f) {
  if (!f.annotated.empty()) misused("--annotated is for one photo", "leave it out with several photos");
  if (!f.ruler.empty() || !f.disc.empty() || !f.rectangle.empty())
    misused("--ruler, --disc and --rect are for one photo", "several photos of a visit are measured by the card (or --board) in each");
  if (!f.check.empty()) misused("--check is for one photo", "leave it out with several photos");
  if (!f.around.empty() || !f.seed.empty() || !f.keep.empty() || !f.drop.empty() || !f.body_axis.empty())
    misused("--around, --seed, --keep, --drop and --body-axis are for one photo", "give an --outline for each photo, in their order, or --auto");
  if (!f.automatic && f.outlines.size() != f.photos.size())
    misused(std::to_string(f.photos.size()) + " photos but " + std::to_string(f.outlines.size()) + " outlines", "give an --outline for each photo, in their order, or --auto");
  std::vector<measure::PhotoRequest> requests;
  for (std::size_t k = 0; k < f.photos.size(); ++k) {
    MeasureFlags own = f;
    if (!f.automatic) own.outlines = {f.outlines[k]};
    requests.push_back(request_of(own));
    requests.back().file = f.photos[k];
  }
  const auto visit = measure::measure_visit(requests);
  if (f.as_json) {
    fmt::print("{}\n", dumped(to_json(visit), 2));
    return;
  }
  for (const auto& photo : visit.photos) print_for_people(photo);
  fmt::print("together, {} photos\n", visit.photos.size());
  print_sizes(visit.measurement);
  print_budget(visit.measurement);
  // Those of each photo stand with it.
  for (const auto& w : visit.measurement.warnings)
    if (w.code == "disagreement" || w.code == "dates") fmt::print("  {}: {}\n", w.code, w.text);
}

/// The photos of a folder by name, or the paths of a list, a line each; relative ones are sought from here, then beside the list.
std::vector<fs::path> photos_of(const fs::path& batch) {
  std::vector<fs::path> files;
  std::error_code fault;
  if (fs::is_directory(batch, fault)) {
    for (const auto& entry : fs::directory_iterator(batch, fault))
      if (photo::has_photo_ending(entry.path())) files.push_back(entry.path());
    if (fault) throw Error(Fault::input, "unreadable", batch, "the folder cannot be read (" + fault.message() + ")", "check its permissions");
    std::sort(files.begin(), files.end());
    if (files.empty()) throw Error(Fault::input, "no-photos", batch, "holds no photo (JPEG, PNG, TIFF, WebP, HEIC)", "name the folder that holds the photos");
    return files;
  }
  for (const auto& line : split(read_file(batch, std::size_t{64} << 20), '\n')) {
    const auto name = trim(line);
    if (name.empty()) continue;
    const fs::path here(name), beside = batch.parent_path() / name;
    files.push_back(here.is_relative() && !fs::exists(here, fault) && fs::exists(beside, fault) ? beside : here);
  }
  if (files.empty()) throw Error(Fault::input, "no-photos", batch, "the list names no photo", "write one path a line");
  return files;
}

void measure_batch(const Flags& f) {
  if (!f.as_json) misused("--batch needs --json", "add --json; one object a line is printed");
  if (!f.annotated.empty()) misused("--annotated is for one photo", "leave it out with --batch");
  const auto request = request_of(f);
  const auto files = photos_of(f.batch);
  const auto workers = std::min<std::size_t>(files.size(), std::max(1u, std::thread::hardware_concurrency()));
  // Photos side by side use the cores better than threads inside one photo.
  cv::setNumThreads(1);
  ::mallopt(M_MMAP_MAX, 0);
  std::vector<std::string> lines(files.size());
  std::atomic<std::size_t> next{0};
  std::mutex mutex;
  std::condition_variable ready;
  const auto work = [&] {
    for (std::size_t i; (i = next++) < files.size();) {
      std::string line;
      auto own = request;
      own.file = files[i];
      try {
        line = dumped(to_json(measure::measure_photo(own)));
      } catch (const Error& e) {
        line = dumped(error_json(e, files[i]));
      } catch (const std::exception& e) {
        line = dumped(error_json(Error(Fault::input, "unforeseen", files[i], e.what(), "tell the makers"), files[i]));
      }
      const std::lock_guard lock(mutex);
      lines[i] = std::move(line);
      ready.notify_one();
    }
  };
  std::vector<std::jthread> pool;
  for (std::size_t k = 0; k < workers; ++k) pool.emplace_back(work);
  for (auto& line : lines) {
    std::unique_lock lock(mutex);
    ready.wait(lock, [&] { return !line.empty(); });
    fmt::print("{}\n", line);
    std::fflush(stdout);
    line.shrink_to_fit();
  }
}

void run(const Flags& f) {
  if (f.photos.empty() == f.batch.empty()) misused("no photo was given", "name a PHOTO, or a folder or list after --batch");
  // Memory given back is kept for the next step or photo, and taken by the 16 MB: the kernel's clearing of fresh pages cost a tenth of the time or
  // more, and made the cores of a batch wait for each other.
  ::mallopt(M_TRIM_THRESHOLD, 1 << 30);
  ::mallopt(M_TOP_PAD, 16 << 20);
  if (!f.batch.empty()) return measure_batch(f);
  try {
    f.photos.size() == 1 ? measure_one(f) : measure_several(f);
  } catch (const Error& e) {
    // The same object that a batch prints, so that stdout always holds one JSON value.
    if (f.as_json) fmt::print("{}\n", dumped(error_json(e, e.file().empty() ? fs::path(f.photos.front()) : e.file())));
    throw;
  }
}

}  // namespace

void add_measure(CLI::App& app) {
  auto* verb = app.add_subcommand("measure", "Measure the wound on a photo, or on a batch of photos");
  auto f = std::make_shared<Flags>();
  verb->add_option("PHOTO", f->photos, "JPEG, PNG, TIFF, WebP or HEIC; several: one wound on one visit, combined by their uncertainties")->option_text(" ");
  const char* out = "Output";
  add_measure_options(*verb, *f);
  verb->add_flag("--json", f->as_json, "One JSON object on stdout")->group(out);
  verb->add_option("--annotated", f->annotated, "The photo with margin, reference and a 10 mm bar")->option_text("OUT.png")->group(out);
  verb->add_option("--batch", f->batch, "Many photos, one JSON object a line, in order; a failed photo is told in its line")->option_text("FOLDER_OR_LIST")->group(out);
  verb->footer("Coordinates are photo pixels after EXIF orientation, pixel centres at integers, x right, y down.\nExit codes: 0 done, 1 could not be measured, 2 wrong usage, 3 a file is missing or damaged.");
  verb->callback([f] { run(*f); });
}

}  // namespace uroko::cli
