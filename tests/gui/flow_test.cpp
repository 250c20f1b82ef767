// The recheck from empty to curve, by pressing what is on the screen. Photos: sample_images, rendered by src/scenes with their truth beside them.
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdlib>
#include <fstream>
#include <nlohmann/json.hpp>

#include "gui/harness.h"
#include "uroko/base/csv.h"
#include "uroko/base/text.h"
#include "uroko/casebook/book.h"
#include "uroko/casebook/measured.h"

using namespace uroko;
using uroko::testing::Harness;
using uroko::testing::TempFolder;
namespace fs = std::filesystem;

namespace {

const fs::path kSamples = fs::path(UROKO_SOURCE) / "sample_images";

nlohmann::json truth() {
  std::ifstream in(kSamples / "truth.json");
  return nlohmann::json::parse(in);
}

std::vector<ImagePoint> loop_of(const nlohmann::json& photo) {
  auto loop = outline_from_wkt<ImagePoint>(photo.at("loop").get<std::string>()).parts.at(0).outer;
  loop.push_back(loop.front());
  return loop;
}

/// A book with that many sample visits, made through the window.
void take_in(Harness& h, const fs::path& folder, std::size_t visits) {
  const auto t = truth();
  std::vector<fs::path> files;
  for (std::size_t i = 0; i < visits; ++i) files.push_back(kSamples / t["photos"][i]["file"].get<std::string>());
  h.session.drop_files(files);
  h.settle();
  h.type("import.fish.name", "Botan");
  h.type("import.wound.name", "left flank");
  h.type("import.book", (folder / "Test.uroko").string());
  h.press("import.confirm");
  h.settle();
}

}  // namespace

TEST_CASE("a first recheck: photos in, scale by itself, one loop, accepted, on the curve") {
  TempFolder folder;
  Harness h(folder.path());
  REQUIRE(h.has("start.drop"));
  take_in(h, folder.path(), 2);
  REQUIRE(h.session.has_book());
  REQUIRE(h.session.book.fish.size() == 1);
  CHECK(h.session.book.fish[0].fish.name == "Botan");
  REQUIRE(h.session.book.fish[0].wounds[0].visits.size() == 2);
  const auto t = truth();
  for (std::size_t i = 0; i < 2; ++i) {
    h.press("visit." + t["photos"][i]["file"].get<std::string>().substr(17, 10));
    h.settle();
    REQUIRE(h.session.desk);
    INFO((h.session.desk->scale_refusal ? h.session.desk->scale_refusal->text : "scale found"));
    REQUIRE(h.session.desk->history.now().map);
    h.press("tool.loop");
    h.drag(loop_of(t["photos"][i]));
    h.settle();
    INFO((h.session.desk->margin_refusal ? h.session.desk->margin_refusal->text : "margin found"));
    REQUIRE(h.session.desk->measurement);
    const double area = h.session.desk->measurement->area_mm2.value, u = h.session.desk->measurement->area_mm2.u;
    // Rendered truth; four standard uncertainties so that the check is about the window's way, not about luck.
    CHECK(std::abs(area - t["photos"][i]["area_mm2"].get<double>()) < 4 * u);
    h.key("Enter");
    h.settle();
    CHECK_FALSE(h.session.desk->unsaved());
  }
  REQUIRE(h.session.course());
  CHECK(h.session.course()->looks.size() == 2);
  // Photos were on the strip and the card's own way was shown.
  CHECK(h.has("bank.drop"));

  SECTION("undo takes the corrections back, across a restart too") {
    const auto before = h.session.desk->history.now().outline();
    h.press("tool.points");
    const auto at = before.parts[0].outer.front();
    h.drag({at, {at.x + 5, at.y}, {at.x + 40, at.y + 10}});
    h.settle();
    REQUIRE(h.session.undo_label());
    CHECK(*h.session.undo_label() == "move the margin");
    CHECK_FALSE(h.session.desk->history.now().outline() == before);
    const auto moved = h.session.desk->history.now().outline();
    h.session.step_visit(0);
    h.settle();
    // A second start on the same folders.
    Harness again(folder.path());
    again.session.open_last();
    again.settle();
    REQUIRE(again.session.desk);
    CHECK(dice(again.session.desk->history.now().outline(), moved) > 0.9999);
    again.key("Z", true);
    again.settle();
    CHECK(dice(again.session.desk->history.now().outline(), before) > 0.9999);
    again.key("Y", true);
    again.settle();
    CHECK(dice(again.session.desk->history.now().outline(), moved) > 0.9999);
  }
  SECTION("compare shows both visits at one scale, and the outlines in one frame") {
    h.press("compare.show");
    h.settle();
    REQUIRE(h.has("compare.left"));
    CHECK(h.session.compare_photo(h.session.compare.left));
    CHECK(h.session.compare_photo(h.session.compare.right));
    h.press("compare.nested");
    h.settle();
    REQUIRE(h.session.nested().size() == 2);
    CHECK(h.has("compare.plot"));
    // Laid over each other by the skin: both margins have the same middle of the scene's ulcer.
    CHECK_FALSE(h.session.matching_skin());
    CHECK(h.session.nested()[0].by_skin);
    CHECK(h.session.nested()[1].by_skin);
    CHECK(distance(centroid(h.session.nested()[0].outline_mm), centroid(h.session.nested()[1].outline_mm)) < 1);
    h.session.set_step(app::Step::margin);
    h.settle();
    REQUIRE(h.session.ghost());
    CHECK(h.session.ghost()->by_skin);
    // Without a margin of this photo it lies there all the same.
    h.session.clear_margin();
    h.settle();
    REQUIRE(h.session.ghost());
    const auto& map = *h.session.desk->history.now().map;
    CHECK(distance(centroid(h.session.ghost()->outline_mm), centroid(map.to_plane(outline_from_wkt<ImagePoint>(t["photos"][1]["outline"].get<std::string>())))) < 1);
  }
  SECTION("the care log takes an event onto the axis, and undo takes it back") {
    h.key("N");
    h.press("log.kind.debridement");
    h.type("log.date", "2026-03-05");
    h.type("log.note", "loose tissue");
    h.press("log.save");
    h.settle();
    REQUIRE(h.session.series().events.size() == 1);
    CHECK(h.session.series().events[0].kind == "debridement");
    h.key("Z", true);
    h.settle();
    CHECK(h.session.series().events.empty());
  }
  SECTION("what was said wrong is said anew: the visit's day, the wound's name; a photo and a log entry are put aside, and undo brings each back") {
    const auto dates = [&] {
      std::vector<std::string> out;
      for (const auto& v : h.session.current_wound()->visits) out.push_back(v.visit.date.iso_date());
      return out;
    };
    const auto at_first = dates();
    REQUIRE(at_first.size() == 2);
    const auto margin = h.session.desk->history.now().outline();
    h.press("crumb.visit");
    REQUIRE(h.session.visit_form);
    h.type("visit.date", "20.13.2026");
    h.press("visit.save");
    h.settle();
    REQUIRE(h.session.visit_form);
    CHECK(h.session.visit_form->fault.at == "visit.date");
    h.type("visit.date", "20.3.2026");
    h.type("visit.water", "17,5");
    h.press("visit.save");
    h.settle();
    CHECK_FALSE(h.session.visit_form);
    CHECK(dates() == std::vector<std::string>{at_first[0], "2026-03-20"});
    CHECK(h.session.current_wound()->visit(h.session.visit)->visit.water_c == 17.5);
    CHECK(h.session.series().looks.back().date.iso_date() == "2026-03-20");
    REQUIRE(h.session.desk);  // the photo stays as it was
    CHECK(dice(h.session.desk->history.now().outline(), margin) == Approx(1));
    CHECK_FALSE(h.session.desk->unsaved());
    h.key("Z", true);
    h.settle();
    CHECK(dates() == at_first);
    CHECK(h.session.desk->place.visit == h.session.current_wound()->visits.back().visit.id);

    h.press("crumb.wound");
    h.type("wound.name", "caudal");
    h.press("wound.side.right");
    h.type("wound.closed", "21.3.2026");
    h.press("wound.save");
    h.settle();
    CHECK(h.session.current_wound()->wound.name == "caudal");
    CHECK(h.session.current_wound()->wound.side == "right");
    CHECK(h.session.current_wound()->wound.closed->iso_date() == "2026-03-21");

    h.press("crumb.visit");
    h.press("visit.aside");
    h.settle();
    CHECK(dates() == std::vector<std::string>{at_first[0]});
    REQUIRE(h.session.desk);
    CHECK(h.session.visit == h.session.current_wound()->visits[0].visit.id);
    h.key("Z", true);
    h.settle();
    CHECK(dates() == at_first);

    h.key("N");
    h.press("log.save");
    h.settle();
    REQUIRE(h.session.series().events.size() == 1);
    h.key("N");
    h.press("log.aside." + std::to_string(h.session.current_wound()->events.at(0).id));
    h.settle();
    CHECK(h.session.series().events.empty());
    h.key("Escape");
    h.key("Z", true);
    h.settle();
    CHECK(h.session.series().events.size() == 1);
    h.press("crumb.wound");
    h.press("wound.aside");
    h.settle();
    CHECK_FALSE(h.session.current_wound());
    CHECK_FALSE(h.session.desk);
    h.key("Z", true);
    h.settle();
    CHECK(h.session.book.fish.at(0).wounds.size() == 1);
  }
  SECTION("another reference is compared with the card, which stays in use; a wrong length is told as a disagreement") {
    const auto& map = *h.session.desk->history.now().map;
    const auto before = h.session.desk->measurement->area_mm2.value;
    const auto generation = h.session.desk->generation;
    const auto& card = scale::card_layout();  // it carries a ruler: 50 mm of that
    const ImagePoint from = map.to_image({card.check_x1 + 20, card.check_y}), to = map.to_image({card.check_x1 + 70, card.check_y});
    h.press("scale.show");
    h.press("tool.ruler");
    h.click_photo(from);
    h.click_photo(to);
    for (const auto& [length, agrees] : {std::pair{"50", true}, std::pair{"40", false}}) {
      INFO(length);
      h.type("scale.first", length);
      REQUIRE(h.has("scale.compare"));
      h.press("scale.compare");
      h.settle();
      INFO(h.session.scale_form->fault.text);
      REQUIRE(h.session.desk->second);
      CHECK(h.session.desk->second->generation == h.session.desk->generation);
      CHECK(h.session.desk->second->differs.has_value() != agrees);
      CHECK(h.session.desk->second->area_in_use_mm2 == Approx(before).epsilon(1e-3));
      CHECK(h.session.desk->second->area_mm2 == Approx(before * (agrees ? 1 : 0.64)).epsilon(0.05));
    }
    CHECK(h.session.desk->generation == generation);
    CHECK(h.session.desk->history.now().map.get() == &map);
  }
  SECTION("the report is a PDF") {
    h.press("report.write");
    h.type("path.text", (folder / "out.pdf").string());
    h.press("path.confirm");
    h.settle();
    for (const auto& notice : h.session.notices) UNSCOPED_INFO(notice.text);
    std::ifstream in(folder / "out.pdf", std::ios::binary);
    std::string head(5, ' ');
    in.read(head.data(), 5);
    CHECK(head == "%PDF-");
  }
}

TEST_CASE("the dose sheet shows its working and has no default") {
  TempFolder folder;
  Harness h(folder.path());
  h.key("D", true);
  REQUIRE(h.session.dose_form);
  CHECK(h.session.dose_form->dose_mg_per_kg.empty());
  CHECK(h.session.dose_result().volume.empty());
  // 10 mg/kg x 1.5 kg / 50 mg/mL = 0.30 mL: a worked example of a hobby fish-health page.
  h.type("dose.dose", "10");
  h.type("dose.strength", "50");
  h.type("dose.weight", "1500");
  CHECK(h.session.dose_result().volume.empty());  // the date of weighing is still missing
  h.type("dose.weighed_on", "2026-03-02");
  CHECK(h.session.dose_result().volume == "0.30");
  CHECK(h.session.dose_result().working.size() >= 2);
}

TEST_CASE("a photo that cannot be shown does not stay on the desk: the next one is shown, or the first screen") {
  TempFolder folder;
  Harness h(folder.path());
  std::ofstream(folder / "broken.jpg") << "not a photo";
  h.session.drop_files({folder / "broken.jpg"});
  h.settle();
  CHECK_FALSE(h.session.desk);
  REQUIRE(h.session.import_form);
  CHECK_FALSE(h.session.import_form->items.at(0).trouble.empty());
  h.type("import.fish.name", "Ume");
  h.type("import.wound.name", "back");
  h.press("import.confirm");
  h.settle();
  CHECK(h.session.import_form->fault.text == "None of these files can be taken in.");
  h.press("form.cancel");
  h.settle();
  CHECK_FALSE(h.session.import_form);
  CHECK(h.has("start.drop"));

  const auto sound = folder / "sound.jpg";  // after the broken one by its name
  fs::copy_file(kSamples / truth()["photos"][0]["file"].get<std::string>(), sound);
  h.session.drop_files({folder / "broken.jpg", sound});
  h.settle();
  REQUIRE(h.session.desk);
  CHECK(h.session.desk->file == sound);
  CHECK(h.session.desk->loaded_whole());
}

TEST_CASE("a photo of the book that was damaged since says so where it should be") {
  TempFolder folder;
  Harness h(folder.path());
  auto book = casebook::Book::create(folder / "B.uroko");
  casebook::NewPhotos photos;
  photos.files = {kSamples / truth()["photos"][0]["file"].get<std::string>()};
  photos.fish = "Ume", photos.wound = "back";
  const auto added = book.add_photos(photos);
  const auto kept = book.photo_file(book.everything().at(0).wounds.at(0).visits.at(0).photos.at(0).sha256);
  fs::permissions(kept, fs::perms::owner_write, fs::perm_options::add);
  fs::resize_file(kept, 20000);
  h.session.open_book(folder / "B.uroko");
  h.settle();
  REQUIRE(h.session.desk);
  REQUIRE(h.session.desk->unreadable);
  CHECK_FALSE(h.session.desk->unreadable->advice.empty());
  CHECK_FALSE(h.session.desk->loaded_whole());
}

TEST_CASE("a damaged photo is named with what to do and the others come in") {
  TempFolder folder;
  Harness h(folder.path());
  std::ofstream(folder / "broken.jpg") << "not a photo";
  h.session.drop_files({folder / "broken.jpg", kSamples / truth()["photos"][0]["file"].get<std::string>()});
  h.settle();
  REQUIRE(h.session.import_form);
  REQUIRE(h.session.import_form->items.size() == 2);
  int troubled = 0;
  for (const auto& item : h.session.import_form->items) troubled += !item.trouble.empty();
  CHECK(troubled == 1);
  h.type("import.fish.name", "Ume");
  h.type("import.wound.name", "back");
  h.type("import.book", (folder / "B.uroko").string());
  h.press("import.confirm");
  h.settle();
  REQUIRE(h.session.book.fish.size() == 1);
  CHECK(h.session.book.fish[0].wounds[0].visits.size() == 1);
}

TEST_CASE("the curve of the flank makes the area larger by what the body's size says, undo reads it flat again, and a second trace gives the mean") {
  TempFolder folder;
  Harness h(folder.path());
  take_in(h, folder.path(), 1);
  const auto t = truth();
  h.press("tool.loop");
  h.drag(loop_of(t["photos"][0]));
  h.settle();
  REQUIRE(h.session.desk->measurement);
  const auto flat = h.session.desk->measurement->area_mm2;
  const auto trace = h.session.desk->history.now().outline();

  SECTION("curve of the flank") {
    h.key("R");
    h.frames(2);
    REQUIRE(h.session.scale_form);
    h.type("scale.first", t["body_depth_mm"].dump());
    h.type("scale.second", t["body_width_mm"].dump());
    const auto line = t["photos"][0]["midline"];
    h.click_photo({line[0], line[1]});
    h.click_photo({line[2], line[3]});
    h.settle();
    REQUIRE(h.session.desk->history.now().body);
    REQUIRE(h.session.desk->measurement);
    CHECK(h.session.desk->measurement->curvature_factor > 1);
    CHECK(h.session.desk->measurement->area_mm2.value > flat.value);
    // The renderer's own truth; four standard uncertainties, as above.
    const double really = t["photos"][0]["area_mm2"];
    CHECK(std::abs(h.session.desk->measurement->area_mm2.value - really) < 4 * h.session.desk->measurement->area_mm2.u);
    h.key("Enter");
    h.settle();
    const auto& row = h.session.book.fish[0].wounds[0].visits[0].photos[0].measure;
    REQUIRE(row);
    REQUIRE(casebook::options_of(*row).body);
    CHECK(casebook::options_of(*row).body->depth_mm == Approx(t["body_depth_mm"].get<double>()));
  }
  SECTION("undo takes the curve back") {
    app::Session& s = h.session;
    s.choose_tool(app::ToolId::midline);
    s.scale_form->first = "180";
    s.scale_form->second = "118";
    const auto line = t["photos"][0]["midline"];
    s.scale_form->picks = {{line[0], line[1]}, {line[2], line[3]}};
    s.give_scale();
    h.settle();
    REQUIRE(s.undo_label());
    CHECK(*s.undo_label() == "curve of the flank");
    h.key("Z", true);
    h.settle();
    CHECK_FALSE(s.desk->history.now().body);
    CHECK(s.desk->measurement->area_mm2.value == Approx(flat.value));
  }
  SECTION("a second trace") {
    h.key("L", false, true);
    h.frames(2);
    REQUIRE(h.session.desk->history.now().earlier.size() == 1);
    CHECK_FALSE(h.session.desk->history.now().margin);
    h.drag(loop_of(t["photos"][0]));
    h.settle();
    REQUIRE(h.session.desk->measurement);
    // The same loop finds the same margin: the mean of two equal traces is the trace.
    CHECK(h.session.desk->measurement->area_mm2.value == Approx(flat.value).epsilon(0.01));
    h.key("Z", true);
    h.key("Z", true);
    h.settle();
    CHECK(h.session.desk->history.now().earlier.empty());
    CHECK(dice(h.session.desk->history.now().outline(), trace) > 0.9999);
  }
}

TEST_CASE("without a system dialog a path is typed, a wrong one is named, and the folder is watched for what comes new") {
  TempFolder folder;
  ::setenv("DBUS_SESSION_BUS_ADDRESS", "unix:path=/nonexistent", 1);
  Harness h(folder.path());
  h.key("O", true);
  h.settle();
  REQUIRE(h.session.path_form);
  h.type("path.text", (folder / "no-such.jpg").string());
  h.press("path.confirm");
  REQUIRE(h.session.path_form);
  CHECK(h.session.path_form->fault.text.find("no-such.jpg") != std::string::npos);
  h.key("Escape");
  CHECK_FALSE(h.session.path_form);
  fs::create_directories(folder / "camera");
  h.session.ask_path(app::PathForm::Purpose::watch);
  h.settle();
  h.type("path.text", (folder / "camera").string());
  h.press("path.confirm");
  CHECK(h.session.settings.watched_folder == folder / "camera");
}

TEST_CASE("every text colour keeps 4.5 to 1 against its ground, and the edge of a field 3 to 1 (WCAG 2.1, 1.4.3 and 1.4.11)") {
  // Relative luminance and contrast as WCAG 2.1 defines them.
  const auto luminance = [](ImU32 c) {
    const auto linear = [](unsigned v) {
      const double s = v / 255.0;
      return s <= 0.03928 ? s / 12.92 : std::pow((s + 0.055) / 1.055, 2.4);
    };
    return 0.2126 * linear(c & 255) + 0.7152 * linear(c >> 8 & 255) + 0.0722 * linear(c >> 16 & 255);
  };
  const auto contrast = [&](ImU32 a, ImU32 b) { return (std::max(luminance(a), luminance(b)) + 0.05) / (std::min(luminance(a), luminance(b)) + 0.05); };
  CHECK(contrast(IM_COL32(0, 0, 0, 255), IM_COL32(255, 255, 255, 255)) == Approx(21.0));
  for (const auto theme : {app::Theme::light, app::Theme::dark}) {
    const auto& c = gui::colours(theme);
    INFO(static_cast<int>(theme));
    for (const auto ground : {c.ground, c.sunk}) {
      CHECK(contrast(c.ink, ground) >= 4.5);
      CHECK(contrast(c.muted, ground) >= 4.5);
      CHECK(contrast(c.act, ground) >= 4.5);
      CHECK(contrast(c.due, ground) >= 4.5);
    }
    CHECK(contrast(c.good, c.ground) >= 4.5);
    CHECK(contrast(c.act, c.act_soft) >= 4.5);
    CHECK(contrast(c.on_act, c.act) >= 4.5);
    CHECK(contrast(c.ink, c.warn_soft) >= 4.5);
    CHECK(contrast(c.on_over, c.over) >= 4.5);
    CHECK(contrast(c.edge, c.ground) >= 3);
  }
}

// Not a check: writes the whole sample case as a case book for the guide's pictures, to the path in UROKO_SAMPLE_BOOK.
TEST_CASE("the sample case as a case book", "[.sample]") {
  const char* out = std::getenv("UROKO_SAMPLE_BOOK");
  REQUIRE(out);
  TempFolder folder;
  Harness h(folder.path());
  const auto t = truth();
  std::vector<fs::path> files;
  for (const auto& p : t["photos"]) files.push_back(kSamples / p["file"].get<std::string>());
  h.session.drop_files(files);
  h.settle();
  h.type("import.fish.name", "Botan");
  h.type("import.wound.name", "left flank");
  h.type("import.book", out);
  h.press("import.confirm");
  h.settle();
  for (const auto& p : t["photos"]) {
    h.press("visit." + p["file"].get<std::string>().substr(17, 10));
    h.settle();
    h.press("tool.loop");
    h.drag(loop_of(p));
    h.settle();
    h.key("Enter");
    h.settle();
  }
  std::ifstream in(kSamples / "events.csv");
  std::string text((std::istreambuf_iterator<char>(in)), {});
  const auto rows = parse_csv(text);
  std::string last_water;
  for (std::size_t i = 1; i < rows.size(); ++i) {
    const auto log = [&](const std::string& kind, const std::string& note, const std::string& water) {
      h.session.open_log();
      h.session.log_form->kind = kind;
      h.session.log_form->date = rows[i][0];
      h.session.log_form->note = note;
      h.session.log_form->water = water;
      h.session.save_log();
    };
    if (!rows[i][1].empty()) log(rows[i][1], rows[i][2], "");
    if (rows[i].size() > 3 && !rows[i][3].empty() && rows[i][0] + rows[i][3] != last_water) log("water temperature", "", rows[i][3]), last_water = rows[i][0] + rows[i][3];
  }
}
