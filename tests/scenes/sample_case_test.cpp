#include <catch2/catch.hpp>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "uroko/base/csv.h"
#include "uroko/base/file.h"
#include "uroko/photo/photo.h"
#include "uroko/scenes/sample_case.h"

using namespace uroko;

namespace {
const std::filesystem::path kFolder = UROKO_SOURCE "/sample_images";
}

TEST_CASE("the sample photos beside their truth are those of the sample case") {
  const auto sample = scenes::sample_case();
  const auto truth = nlohmann::json::parse(read_file(kFolder / "truth.json"));
  REQUIRE(sample.visits.size() == 8);
  REQUIRE(truth["photos"].size() == sample.visits.size());
  std::uintmax_t bytes = 0;
  for (std::size_t i = 0; i < sample.visits.size(); ++i) {
    const auto& visit = sample.visits[i];
    const auto& told = truth["photos"][i];
    INFO(visit.file_name);
    CHECK(told["file"] == visit.file_name);
    const auto exact = scenes::truth_of(visit.scene);
    CHECK(told["area_mm2"].get<double>() == Approx(exact.area_mm2).epsilon(1e-5));
    const auto outline = outline_from_wkt<ImagePoint>(told["outline"]);
    CHECK_FALSE(find_fault(outline));
    CHECK(dice(outline, exact.outline) > 0.9999);
    // The rough loop lies wholly outside the margin.
    const auto loop = outline_from_wkt<ImagePoint>(told["loop"]);
    CHECK_FALSE(find_fault(loop));
    CHECK(area(intersection(loop, outline)) == Approx(area(outline)).epsilon(0.002));
    double shares = 0;
    for (const auto& share : told["shares"]) shares += share.get<double>();
    CHECK(shares == Approx(1).margin(1e-3));
    const auto info = photo::probe(kFolder / visit.file_name);
    CHECK(info.width_px == visit.scene.view.width_px);
    CHECK(info.height_px == visit.scene.view.height_px);
    REQUIRE(info.taken);
    CHECK(info.taken->iso_date() == visit.taken.iso_date());
    CHECK(info.taken_from == photo::DateSource::exif);
    CHECK(info.camera_model == sample.camera_model);
    bytes += info.bytes;
  }
  CHECK(bytes < 8u * 1000 * 1000);
}

TEST_CASE("a sample photo's pixels are those that the renderer paints now") {
  const auto visit = scenes::sample_case().visits.back();
  const auto photo = photo::load(kFolder / visit.file_name).bgr;
  const auto middle = centroid(scenes::truth_of(visit.scene).outline);
  const cv::Rect box(static_cast<int>(middle.x) - 100, static_cast<int>(middle.y) - 100, 200, 200);
  auto noise = visit.noise;
  noise.grain = 0;
  cv::Mat difference;
  cv::absdiff(photo(box), scenes::render(visit.scene, noise, box), difference);
  // Grain and compression only.
  const auto mean = cv::mean(difference);
  CHECK(mean[0] + mean[1] + mean[2] < 9);
}

TEST_CASE("the sample log has its debridement and its cold spell") {
  const auto rows = parse_csv(read_file(kFolder / "events.csv"));
  REQUIRE(rows.size() > 10);
  CHECK(rows[0] == std::vector<std::string>{"date", "event", "note", "water_c"});
  int debridements = 0, cold = 0;
  for (std::size_t i = 1; i < rows.size(); ++i) {
    REQUIRE(rows[i].size() == 4);
    CHECK(DateTime::parse(rows[i][0]));
    debridements += rows[i][1] == "debridement";
    cold += std::stod(rows[i][3]) < 12;
  }
  CHECK(debridements == 1);
  CHECK(cold >= 3);
}
