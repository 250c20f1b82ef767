// Renders the sample case: render_samples FOLDER writes eight JPEG photos, truth.json and events.csv.
#include <fmt/format.h>

#include <cstdio>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "uroko/base/csv.h"
#include "uroko/base/file.h"
#include "uroko/base/text.h"
#include "uroko/photo/exif.h"
#include "uroko/photo/photo.h"
#include "uroko/scenes/sample_case.h"

using namespace uroko;

namespace {

nlohmann::json truth_json(const scenes::SampleVisit& visit) {
  const auto truth = scenes::truth_of(visit.scene);
  nlohmann::json shares;
  // By the contract's words.
  const std::pair<const char*, bed::Tissue> tissues[] = {
      {"granulation", bed::Tissue::granulation}, {"slough", bed::Tissue::slough}, {"necrotic", bed::Tissue::necrotic}, {"pale", bed::Tissue::pale}};
  for (const auto& [word, tissue] : tissues) shares[word] = std::round(1e4 * truth.shares[static_cast<std::size_t>(tissue)]) / 1e4;
  const auto& view = visit.scene.view;
  const auto& [from, to] = truth.midline;
  const auto tenth = [](double v) { return std::round(10 * v) / 10; };
  return {{"file", visit.file_name},
          {"taken", visit.taken.iso()},
          {"water_c", visit.water_c},
          {"area_mm2", std::round(1e3 * truth.area_mm2) / 1e3},
          {"perimeter_mm", std::round(1e3 * truth.perimeter_mm) / 1e3},
          {"shares", shares},
          {"outline", to_wkt(truth.outline, 2)},
          {"loop", to_wkt(scenes::rough_loop(truth.outline), 0)},
          {"midline", {tenth(from.x), tenth(from.y), tenth(to.x), tenth(to.y)}},
          {"distance_mm", view.distance_mm},
          {"tilt_deg", view.tilt_deg}};
}

}  // namespace

int main(int argc, char** argv) try {
  if (argc != 2) {
    std::fputs("usage: render_samples FOLDER\n", stderr);
    return 2;
  }
  const std::filesystem::path folder = argv[1];
  std::filesystem::create_directories(folder);
  const auto sample = scenes::sample_case();
  const auto& flank = *sample.visits.front().scene.flank;
  nlohmann::json truth = {{"about", "Rendered by src/scenes/tools/render_samples.cpp: an invented fish, an invented wound, an invented camera."},
                          {"fish", sample.fish},
                          {"variety", sample.variety},
                          {"length_mm", sample.length_mm},
                          {"wound", sample.wound},
                          {"site", sample.site},
                          {"body_depth_mm", flank.depth_mm},
                          {"body_width_mm", flank.width_mm},
                          {"photos", nlohmann::json::array()}};
  for (const auto& visit : sample.visits) {
    photo::ExifFields fields;
    fields.taken = visit.taken;
    fields.taken_from = photo::DateSource::exif;
    fields.make = sample.camera_make;
    fields.model = sample.camera_model;
    fields.focal_mm = sample.focal_mm;
    fields.focal35_mm = sample.focal35_mm;
    const auto bytes = photo::encode_jpeg_with_exif(scenes::render(visit.scene, visit.noise), 84, fields);
    write_file_whole(folder / visit.file_name, bytes);
    truth["photos"].push_back(truth_json(visit));
    fmt::print("{}  {:7.1f} mm2  {:6.0f} kB\n", visit.file_name, truth["photos"].back()["area_mm2"].get<double>(), bytes.size() / 1024.0);
  }
  write_file_whole(folder / "truth.json", truth.dump(1) + "\n");
  std::string csv = csv_row({"date", "event", "note", "water_c"});
  for (const auto& row : sample.log) csv += csv_row({row.date.iso_date(), row.event, row.note, number_text(row.water_c)});
  write_file_whole(folder / "events.csv", csv);
} catch (const std::exception& e) {
  std::fprintf(stderr, "render_samples: %s\n", e.what());
  return 1;
}
