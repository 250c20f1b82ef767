#include "uroko/casebook/book.h"

#include <catch2/catch.hpp>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <opencv2/imgproc.hpp>

#include "report/example_sheet.h"
#include "support/command.h"
#include "support/temp_folder.h"
#include "uroko/base/csv.h"
#include "uroko/base/error.h"
#include "uroko/base/file.h"
#include "uroko/base/text.h"
#include "uroko/casebook/measured.h"
#include "uroko/photo/photo.h"
#include "uroko/report/export.h"
#include "uroko/report/from_book.h"
#include "uroko/scale/lens.h"
#include "uroko/scale/references.h"
#include "uroko/scenes/sample_case.h"
#include "uroko/scenes/scene.h"

using namespace uroko;
using namespace uroko::report;
using namespace uroko::testing;

namespace {

std::string save(const TempFolder& folder, const std::string& name, const std::string& bytes) {
  const auto file = folder / name;
  std::ofstream(file, std::ios::binary) << bytes;
  return file.string();
}

// A book with three measured visits and one without a measure; names that need care in CSV, XML and FHIR.
casebook::Book filled(const TempFolder& folder) {
  auto book = casebook::Book::create(folder / "b.uroko");
  const double areas[] = {412.5, 380.25, 300};
  casebook::NewPhotos photos;
  photos.fish = "=Momo \"紅白\", <1>";
  photos.wound = "left flank";
  for (int i = 0; i < 4; ++i) {
    const auto photo = example_photo(DateTime::from_day_number(20514 + 7 * i), i < 3 ? areas[i] : 280);
    cv::Mat small;
    cv::resize(photo.bgr, small, {}, 0.5, 0.5, cv::INTER_AREA);
    photos.files = {save(folder, "p" + std::to_string(i) + ".jpg", photo::encode_jpeg(small, 90))};
    photos.date = DateTime::from_day_number(20514 + 7 * i);
    photos.water_c = 18 + i;
    photos.weight_g = 2350;
    const auto added = book.add_photos(photos);
    REQUIRE(added.size() == 1);
    REQUIRE_FALSE(added[0].error);
    if (i == 3) continue;
    casebook::MeasureRow m;
    m.photo = added[0].photo;
    m.made = *DateTime::parse("2026-04-01T10:00:00");
    m.area_mm2 = areas[i], m.u_mm2 = 4, m.low95 = areas[i] - 7.84, m.high95 = areas[i] + 7.84;
    m.perimeter_mm = 78, m.length_mm = 28.5, m.width_mm = 19.25;
    m.margin_wkt = to_wkt(wavy<ImagePoint>(360, 215, areas[i] * 36));
    m.margin_from = "loop";
    m.scale_json = R"({"kind":"card","mm_per_px":0.1666})";
    m.bed_json =
        R"({"granulation":{"share":0.6},"slough":{"share":0.2},"necrotic":{"share":0.05},"pale":{"share":0.05},"unsure":{"share":0.06},"glare":{"share":0.04}})";
    m.budget_json = "[]";
    m.warnings_json = R"([{"code":"tilt","text":"the camera was tilted"}])";
    m.options_json = "{}";
    m.program = "uroko 0.1.0";
    book.add(m);
  }
  const auto fish = book.fish().at(0);
  casebook::Event event;
  event.fish = fish.id;
  event.date = *DateTime::parse("2026-03-05");
  event.kind = "topical";
  event.product = "product A";
  book.add(event);
  casebook::Swab swab;
  swab.fish = fish.id;
  swab.taken = *DateTime::parse("2026-03-03");
  swab.laboratory = "laboratory A";
  swab.temperature_c = 22;
  book.add(swab);
  casebook::Finding finding;
  finding.swab = swab.id;
  finding.organism = "organism X";
  finding.agent = "agent 1";
  finding.letter = "S";
  book.add(finding);
  // Hobby fish-health page's worked example: 10 mg/kg x 1.5 kg / 50 mg/mL = 0.30 mL; here 2.35 kg: 0.47 mL.
  casebook::Prescription prescription;
  prescription.fish = fish.id;
  prescription.written = *DateTime::parse("2026-03-04");
  prescription.drug = "agent 1";
  prescription.mg_per_kg = 10;
  prescription.mg_per_ml = 50;
  prescription.interval_hours = 72;
  book.add(prescription);
  casebook::Wound second;
  second.fish = fish.id;
  second.name = "tail base";
  book.add(second);
  casebook::set_owner_label(book, fish.id, "Owner A, pond 2");
  return book;
}

std::string reader() { return std::string(UROKO_SOURCE) + "/tests/report/read_back.py"; }

}  // namespace

TEST_CASE("a sheet filled from a case book prints the book's numbers") {
  TempFolder folder;
  const auto book = filled(folder);
  const auto wound = book.wounds(book.fish().at(0).id).at(0);
  SheetChoices choices;
  choices.made = DateTime::parse("2026-04-02");
  const auto data = sheet_data(book, wound.id, choices);
  REQUIRE(data.visits.size() == 4);
  CHECK_FALSE(data.visits[3].area_mm2);
  REQUIRE(data.margins.size() == 3);
  for (std::size_t i = 0; i < 3; ++i) CHECK(area(data.margins[i].outline_mm) == Approx(data.margins[i].area_mm2));
  REQUIRE(data.latest);
  CHECK_FALSE(data.latest->bgr.empty());
  CHECK(data.latest->px_per_mm == Approx(6).epsilon(0.01));
  const auto pdf = save(folder, "s.pdf", recheck_sheet(data));
  const auto text = run({"pdftotext", "-layout", pdf, "-"}).out;
  for (const auto& look : data.course->looks) CHECK(text.find(fixed_text(look.area_mm2, 0) + " (") != std::string::npos);
  for (const char* part :
       {"=Momo \"紅白\", <1>", "2.35 kg", "card, loop", "topical (product A)", "organism X: agent 1 S", "the camera was tilted", "0.47 mL", "every 72 h", "Owner A, pond 2", "other wound", "tail base", "page 2 of 2"})
    CHECK(text.find(part) != std::string::npos);
  for (const auto& f : data.files) CHECK(text.find(f.sha256) != std::string::npos);
  // -27.3 % from 412.5 to 300
  CHECK(text.find("−27.3") != std::string::npos);
}

TEST_CASE("the sheet's margins lie over each other by the skin, and one whose skin does not tell is centred and named") {
  TempFolder folder;
  auto book = casebook::Book::create(folder / "b.uroko");
  const auto sample = scenes::sample_case();
  // The second visit's photo is another file, blurred past all pattern.
  for (const std::size_t k : {std::size_t{0}, std::size_t{4}, std::size_t{7}}) {
    const auto& visit = sample.visits[k];
    const auto file = std::filesystem::path(UROKO_SOURCE "/sample_images") / visit.file_name;
    auto photo = photo::load(file);
    const auto map = scale::find_card(photo.bgr, scale::camera_from_exif(photo.info));
    REQUIRE(map);
    casebook::NewPhotos n;
    n.files = {file};
    n.fish = "Botan";
    n.wound = "left flank";
    if (k == 4) {
      cv::GaussianBlur(photo.bgr, photo.bgr, {}, 25);
      write_file_whole(folder / "blurred.jpg", photo::encode_jpeg(photo.bgr, 90));
      n.files = {folder / "blurred.jpg"};
      n.date = visit.taken;
    }
    const auto added = book.add_photos(n);
    REQUIRE(added.size() == 1);
    REQUIRE_FALSE(added[0].error);
    const auto margin = margin::given(photo.bgr, scenes::truth_of(visit.scene).outline);
    const auto measured = measure::measure(*map, margin);
    REQUIRE(measured);
    book.add(casebook::to_row(added[0].photo, *map, margin, *measured, nullptr, {}));
  }
  const auto wound = book.wounds(book.fish().at(0).id).at(0).id;
  const auto data = sheet_data(book, wound);
  REQUIRE(data.margins.size() == 3);
  CHECK(data.margins[0].by_skin);
  CHECK_FALSE(data.margins[1].by_skin);
  CHECK(data.margins[2].by_skin);
  // The scene's ulcer shrinks about its own middle, which the centroids of its margins hardly leave.
  CHECK(distance(centroid(data.margins[0].outline_mm), centroid(data.margins[2].outline_mm)) < 0.8);
  CHECK(area(intersection(data.margins[0].outline_mm, data.margins[2].outline_mm)) == Approx(area(data.margins[2].outline_mm)).epsilon(0.001));
  const auto said = [&](const SheetData& sheet) { return run({"pdftotext", "-layout", save(folder, "skin.pdf", recheck_sheet(sheet)), "-"}).out; };
  CHECK(said(data).find("only centred on the one before, for the skin did not tell: 2026-03-17") != std::string::npos);
  SheetChoices flat;
  flat.by_skin = false;
  const auto centred = sheet_data(book, wound, flat);
  for (const auto& m : centred.margins) CHECK_FALSE(m.by_skin);
  CHECK(said(centred).find("read sizes and shapes, not places") != std::string::npos);
}

TEST_CASE("a photo that vanished from the book gives a sheet that says so") {
  TempFolder folder;
  const auto book = filled(folder);
  const auto wound = book.wounds(book.fish().at(0).id).at(0);
  for (const auto& p : book.photos(wound.id)) {
    std::filesystem::permissions(book.photo_file(p.sha256).parent_path(), std::filesystem::perms::owner_all);
    std::filesystem::remove(book.photo_file(p.sha256));
  }
  const auto data = sheet_data(book, wound.id);
  REQUIRE(data.latest);
  CHECK(data.latest->bgr.empty());
  CHECK_FALSE(data.latest->trouble.empty());
  const auto text = run({"pdftotext", "-layout", save(folder, "gone.pdf", recheck_sheet(data)), "-"}).out;
  CHECK(text.find("p3.jpg of 2026-03-") == std::string::npos);  // the latest photo with a measure is the one that is missed
  CHECK(text.find("photo p2.jpg of ") != std::string::npos);
  CHECK_THROWS_AS(sheet_data(book, 4711), Error);
}

TEST_CASE("the record validates against its published schema with an independent validator, and a broken one does not") {
  TempFolder folder;
  const auto book = filled(folder);
  const std::string schema = std::string(UROKO_SOURCE) + "/assets/schema-json/case-book.schema.json";
  const auto text = book_json(book);
  const auto ran = run({"python3", reader(), "record", save(folder, "r.json", text), schema});
  INFO(ran.out << ran.err);
  CHECK(ran.exit_code == 0);
  auto j = nlohmann::json::parse(text);
  const auto& measure = j["fish"][0]["wounds"][0]["visits"][0]["photos"][0]["measure"];
  CHECK(measure["area_mm2"]["value"] == 412.5);
  CHECK(measure["width_mm"] == 19.25);
  j["fish"][0]["wounds"][0]["visits"][0]["photos"][0]["measure"]["area_mm2"]["value"] = "412.5";
  CHECK(run({"python3", reader(), "record", save(folder, "bad.json", j.dump()), schema}).exit_code == 1);
}

TEST_CASE("the FHIR bundle keeps the rules of the open specification, and the check notices when it does not") {
  TempFolder folder;
  const auto book = filled(folder);
  const auto text = fhir_bundle(book);
  const auto ran = run({"python3", reader(), "fhir", save(folder, "f.json", text)});
  INFO(ran.out << ran.err);
  CHECK(ran.exit_code == 0);
  const auto bundle = nlohmann::json::parse(text);
  std::map<std::string, std::vector<double>> values;
  for (const auto& e : bundle["entry"])
    if (e["resource"]["resourceType"] == "Observation")
      values[e["resource"]["code"]["coding"][0]["code"]].push_back(e["resource"]["valueQuantity"]["value"]);
  CHECK(values["89260-4"] == std::vector<double>{412.5, 380.25, 300});
  CHECK(values["39126-8"] == std::vector<double>(3, 28.5));
  CHECK(values["39125-0"] == std::vector<double>(3, 19.25));
  CHECK(fhir_bundle(book) == text);
  for (const char* path : {"/entry/2/resource/valueQuantity/system", "/entry/2/resource/status", "/entry/0/fullUrl"}) {
    auto broken = bundle;
    broken[nlohmann::json::json_pointer(path)] = "";
    CHECK(run({"python3", reader(), "fhir", save(folder, "broken.json", broken.dump())}).exit_code == 1);
  }
  const auto empty = casebook::Book::create(folder / "empty.uroko");
  CHECK(run({"python3", reader(), "fhir", save(folder, "e.json", fhir_bundle(empty))}).exit_code == 0);
}

TEST_CASE("outlines are WKT whose millimetres have the reported area, read by Python and by GEOS") {
  TempFolder folder;
  const auto book = filled(folder);
  const auto table = outlines_csv(book);
  const auto ran = run({"python3", reader(), "csv", save(folder, "o.csv", table), save(folder, "d.csv", data_dictionary_csv())});
  INFO(ran.out << ran.err);
  CHECK(ran.exit_code == 0);
  const auto rows = parse_csv(table);
  REQUIRE(rows.size() == 4);
  for (std::size_t i = 1; i < rows.size(); ++i) {
    CHECK(rows[i][0] == "'=Momo \"紅白\", <1>");
    const auto outline = outline_from_wkt<PlanePoint>(rows[i][7]);
    CHECK_FALSE(find_fault(outline));
    CHECK(area(outline) == Approx(*parse_number(rows[i][4])).epsilon(1e-4));
  }
}
