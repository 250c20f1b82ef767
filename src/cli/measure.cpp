// uroko measure: one photo, or a batch on all cores.
#include <fmt/format.h>

#include <atomic>
#include <condition_variable>
#include <cstdio>
#include <mutex>
#include <nlohmann/json.hpp>
#include <opencv2/core/utility.hpp>
#include <thread>

#include "cli/cli.h"
#include "cli/options.h"
#include "uroko/base/error.h"
#include "uroko/base/file.h"
#include "uroko/base/text.h"
#include "uroko/measure/one_photo.h"
#include "uroko/report/annotated.h"

namespace uroko::cli {

namespace {

namespace fs = std::filesystem;
using measure::PhotoRequest;
using nlohmann::json;

struct Flags {
  std::string photo, batch;
  bool card = false, automatic = false, as_json = false;
  std::string ruler, disc, rectangle, lens, outline, around, seed, body_axis, annotated;
  std::vector<std::string> keep, drop;
  std::optional<double> body_depth, body_width, print_length;
  double plane_offset = measure::MeasureOptions{}.plane_offset_u_mm;
};

[[noreturn]] void misused(const std::string& happened, const std::string& advice) { throw Error(Fault::usage, "usage", {}, happened, advice); }

measure::ScaleChoice scale_of(const Flags& f) {
  if (int(f.card) + int(!f.ruler.empty()) + int(!f.disc.empty()) + int(!f.rectangle.empty()) > 1)
    misused("more than one scale was given", "give one of --card, --ruler, --disc, --rect");
  if (!f.ruler.empty()) {
    const auto v = numbers("--ruler", f.ruler, 5);
    if (v[0] == v[2] && v[1] == v[3]) misused("--ruler: the two points are the same", "pick two different graduations");
    if (!(v[4] > 0)) misused("--ruler: the length is not above 0", "give the millimetres between the two points");
    return measure::ByRuler{{v[0], v[1]}, {v[2], v[3]}, v[4]};
  }
  if (!f.disc.empty()) {
    const auto v = numbers("--disc", f.disc, 3);
    if (!(v[2] > 0)) misused("--disc: the diameter is not above 0", "give the disc's diameter in millimetres");
    return measure::ByDisc{{v[0], v[1]}, v[2]};
  }
  if (!f.rectangle.empty()) {
    const auto v = numbers("--rect", f.rectangle, 10);
    if (!(v[8] > 0 && v[9] > 0)) misused("--rect: a side is not above 0", "give width and height in millimetres");
    return measure::ByRectangle{{{{v[0], v[1]}, {v[2], v[3]}, {v[4], v[5]}, {v[6], v[7]}}}, v[8], v[9]};
  }
  measure::ByCard card;
  if (f.print_length) {
    if (!(*f.print_length > 80 && *f.print_length < 120)) misused("--print-length is not near 100", "give what the card's 100 mm line measures, in millimetres");
    card.print_scale = *f.print_length / 100;
  }
  return card;
}

measure::MarginChoice margin_of(const Flags& f) {
  const int given = int(!f.outline.empty()) + int(!f.around.empty()) + int(!f.seed.empty()) + int(f.automatic);
  if (given > 1) misused("more than one margin was given", "give one of --outline, --around, --seed, --auto");
  if (!f.outline.empty()) {
    if (!f.keep.empty() || !f.drop.empty()) misused("--keep and --drop go with a found margin", "use --around, --seed or --auto, or correct the outline");
    return measure::Given{outline_option("--outline", f.outline)};
  }
  if (!f.around.empty()) return measure::Around{outline_option("--around", f.around)};
  if (!f.seed.empty()) {
    const auto v = numbers("--seed", f.seed, 2);
    return measure::FromPoint{{v[0], v[1]}};
  }
  if (!f.automatic && f.batch.empty()) misused("no margin was given", "give one of --outline, --around, --seed, --auto");
  return measure::NoHint{};
}

PhotoRequest request_of(const Flags& f) {
  PhotoRequest request;
  request.scale = scale_of(f);
  request.margin = margin_of(f);
  if (!f.lens.empty()) request.lens_profile = f.lens;
  for (const auto& text : f.keep)
    for (auto& line : lines_option("--keep", text)) request.keep.push_back(std::move(line));
  for (const auto& text : f.drop)
    for (auto& line : lines_option("--drop", text)) request.drop.push_back(std::move(line));
  if (!(f.plane_offset >= 0)) misused("--plane-offset is below 0", "give millimetres, 0 or more");
  request.options.plane_offset_u_mm = f.plane_offset;
  if (f.body_depth.has_value() != f.body_width.has_value()) misused("one of --body-depth and --body-width is missing", "give both");
  if (f.body_depth) {
    if (!(*f.body_depth > 0 && *f.body_width > 0)) misused("--body-depth and --body-width must be above 0", "give millimetres");
    measure::Body body{*f.body_depth, *f.body_width, std::nullopt};
    if (!f.body_axis.empty()) {
      const auto v = numbers("--body-axis", f.body_axis, 4);
      if (v[0] == v[2] && v[1] == v[3]) misused("--body-axis: the two points are the same", "pick two points along the lateral midline");
      body.midline = {{{v[0], v[1]}, {v[2], v[3]}}};
    }
    request.options.body = body;
  } else if (!f.body_axis.empty()) {
    misused("--body-axis goes with --body-depth and --body-width", "give all three");
  }
  return request;
}

json error_json(const Error& e, const fs::path& file) {
  std::string text = e.happened();
  if (!e.advice().empty()) text += "; " + e.advice();
  return {{"photo", {{"file", file.string()}}}, {"error", {{"code", e.code()}, {"text", text}}}};
}

/// Bytes of a file name that are not UTF-8 must not stop the output.
std::string dumped(const json& value, int indent = -1) { return value.dump(indent, ' ', false, json::error_handler_t::replace); }

void print_for_people(const measure::PhotoResult& r) {
  const auto& m = r.measurement;
  fmt::print("{}\n", r.photo.info.file.string());
  fmt::print("  taken      {} ({})\n", r.photo.info.taken ? r.photo.info.taken->iso() : "unknown", photo::name(r.photo.info.taken_from));
  fmt::print("  scale      {}, {:.4f} mm/px, tilt {}, residual {:.2f} px\n", scale::name(r.map.kind), r.map.mm_per_px(centroid(r.margin.outline)),
             r.map.tilt_known ? fmt::format("{:.1f} deg", r.map.tilt_deg) : "unknown", r.map.rms_px);
  fmt::print("  area       {:.1f} mm2   95 % interval {:.1f} to {:.1f}\n", m.area_mm2.value, m.area_mm2.low95, m.area_mm2.high95);
  fmt::print("  perimeter  {:.1f} mm, length {:.1f} mm, width {:.1f} mm\n", m.perimeter_mm.value, m.length_mm.value, m.width_mm.value);
  fmt::print("  bed        ");
  for (int k = 0; k < bed::kTissues; ++k) {
    const auto tissue = static_cast<bed::Tissue>(k);
    fmt::print("{}{} {:.0f} %", k ? ", " : "", bed::name(tissue), 100 * r.bed[tissue].share);
  }
  fmt::print("\n  budget     ");
  for (std::size_t k = 0; k < m.budget.size(); ++k) fmt::print("{}{} {:.2f}", k ? ", " : "", m.budget[k].source, m.budget[k].u_mm2);
  fmt::print(" mm2\n");
  for (const auto* list : {&m.warnings, &r.bed.warnings})
    for (const auto& w : *list) fmt::print("  {}: {}\n", w.code, w.text);
}

void measure_one(const Flags& f) {
  auto request = request_of(f);
  request.file = f.photo;
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

bool looks_like_photo(const fs::path& file) {
  static const std::vector<std::string> known = {".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif"};
  return std::find(known.begin(), known.end(), lower_ascii(file.extension().string())) != known.end();
}

/// The photos of a folder by name, or the paths of a list, a line each; relative ones are sought from here, then beside the list.
std::vector<fs::path> photos_of(const fs::path& batch) {
  std::vector<fs::path> files;
  std::error_code fault;
  if (fs::is_directory(batch, fault)) {
    for (const auto& entry : fs::directory_iterator(batch, fault))
      if (looks_like_photo(entry.path())) files.push_back(entry.path());
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
  if (f.photo.empty() == f.batch.empty()) misused("no photo was given", "name a PHOTO, or a folder or list after --batch");
  if (!f.batch.empty()) return measure_batch(f);
  try {
    measure_one(f);
  } catch (const Error& e) {
    // The same object that a batch prints, so that stdout always holds one JSON value.
    if (f.as_json) fmt::print("{}\n", dumped(error_json(e, f.photo)));
    throw;
  }
}

}  // namespace

void add_measure(CLI::App& app) {
  auto* verb = app.add_subcommand("measure", "Measure the wound on a photo, or on a batch of photos");
  auto f = std::make_shared<Flags>();
  verb->add_option("PHOTO", f->photo, "JPEG, PNG, TIFF, WebP or HEIC")->option_text(" ");
  const auto text = [&](const std::string& name, std::string& into, const char* value, const std::string& says, const char* group) {
    verb->add_option(name, into, says)->option_text(value)->group(group);
  };
  const char *scale = "Scale (one; without any the printed card is looked for)", *margin = "Margin (one)", *curve = "Curved flank", *out = "Output";
  verb->add_flag("--card", f->card, "The printed card, anywhere in the photo")->group(scale);
  text("--ruler", f->ruler, "X1,Y1,X2,Y2,MM", "Two picks on a ruler and the millimetres between them", scale);
  text("--disc", f->disc, "X,Y,DIAMETER_MM", "A coin or other disc near that pixel", scale);
  text("--rect", f->rectangle, "X1,Y1,...,X4,Y4,WIDTH_MM,HEIGHT_MM", "Four corners in order, WIDTH between corners 1 and 2", scale);
  text("--lens", f->lens, "PROFILE.json", "Camera profile made by uroko lens", scale);
  verb->add_option("--print-length", f->print_length, "What the card's printed 100 mm line really measures")->option_text("MM")->group(scale);
  verb->add_option("--plane-offset", f->plane_offset, "How far the reference may lie above or below the wound (standard uncertainty)")->option_text("MM")->capture_default_str()->group(scale);
  text("--outline", f->outline, "WKT", "The margin itself: POLYGON or MULTIPOLYGON in photo pixels, or @FILE", margin);
  text("--around", f->around, "WKT", "A rough loop; the margin is found inside it", margin);
  text("--seed", f->seed, "X,Y", "A point in the wound", margin);
  verb->add_flag("--auto", f->automatic, "No hint: a proposal, to be checked by eye")->group(margin);
  verb->add_option("--keep", f->keep, "A stroke (LINESTRING) that must be inside a found margin")->option_text("WKT")->group(margin);
  verb->add_option("--drop", f->drop, "A stroke (LINESTRING) that must be outside")->option_text("WKT")->group(margin);
  verb->add_option("--body-depth", f->body_depth, "Body depth (back to belly) at the wound")->option_text("MM")->group(curve);
  verb->add_option("--body-width", f->body_width, "Body width (side to side) at the wound")->option_text("MM")->group(curve);
  text("--body-axis", f->body_axis, "X1,Y1,X2,Y2", "A line along the fish's lateral midline in the photo", curve);
  verb->add_flag("--json", f->as_json, "One JSON object on stdout")->group(out);
  text("--annotated", f->annotated, "OUT.png", "The photo with margin, reference and a 10 mm bar", out);
  text("--batch", f->batch, "FOLDER_OR_LIST", "Many photos, one JSON object a line, in order; a failed photo is told in its line", out);
  verb->footer("Coordinates are photo pixels after EXIF orientation, pixel centres at integers, x right, y down.\nExit codes: 0 done, 1 could not be measured, 2 wrong usage, 3 a file is missing or damaged.");
  verb->callback([f] { run(*f); });
}

}  // namespace uroko::cli
