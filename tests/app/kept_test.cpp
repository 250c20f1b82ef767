// What is kept of a trace must say as much about its doubt as before: after a restart, and for what nobody has looked at.
#include <nlohmann/json.hpp>

#include "app/on_the_desk.h"
#include "uroko/casebook/measured.h"

using namespace uroko;
using namespace uroko::app;
using uroko::testing::OnTheDesk;
using uroko::testing::open_and_trace;
using uroko::testing::TempFolder;
namespace fs = std::filesystem;

namespace {

const fs::path kSamples = fs::path(UROKO_SOURCE) / "sample_images";

}  // namespace

TEST_CASE("an unfinished trace has the same area, interval and budget after a restart, lean of the card and doubt of the edge with it") {
  TempFolder folder;
  const Places places{folder / "settings.json", folder / "unfinished.json", {}};
  {
    auto book = casebook::Book::create(folder / "koi.uroko");
    casebook::NewPhotos photos;
    photos.files = {kSamples / "botan-left-flank-2026-03-09.jpg"};
    photos.fish = "A", photos.wound = "left flank";
    REQUIRE_FALSE(book.add_photos(photos).at(0).error);
  }
  measure::Measurement before;
  {
    Session s(places);
    s.open_book(folder / "koi.uroko");
    REQUIRE(s.settle());
    REQUIRE(s.desk);
    REQUIRE(s.desk->history.now().map);
    const auto truth = nlohmann::json::parse(read_file(kSamples / "truth.json"));
    ImageOutline outline;
    for (const auto& photo : truth["photos"])
      if (photo["file"].get<std::string>().find("03-09") != std::string::npos) outline = outline_from_wkt<ImagePoint>(photo["outline"].get<std::string>());
    const auto middle = centroid(outline);
    s.choose_tool(ToolId::loop);
    bool first = true;
    Pointer last;
    for (const auto& p : outline.parts.at(0).outer) {
      last = {{middle.x + 1.3 * (p.x - middle.x), middle.y + 1.3 * (p.y - middle.y)}};
      first ? s.press(last) : s.drag(last);
      first = false;
    }
    s.release(last);
    REQUIRE(s.settle());
    REQUIRE(s.desk->measurement);
    before = *s.desk->measurement;
  }
  Session s(places);
  s.open_book(folder / "koi.uroko");
  REQUIRE(s.settle());
  REQUIRE(s.desk);
  REQUIRE(s.desk->unsaved());
  REQUIRE(s.desk->measurement);
  const auto& after = *s.desk->measurement;
  CHECK(after.area_mm2.value == Approx(before.area_mm2.value).epsilon(1e-5));
  CHECK(after.area_mm2.u == Approx(before.area_mm2.u).epsilon(1e-3));
  REQUIRE(after.budget.size() == before.budget.size());
  for (std::size_t i = 0; i < before.budget.size(); ++i) {
    INFO(before.budget[i].source);
    CHECK(after.budget[i].source == before.budget[i].source);
    CHECK(after.budget[i].u_mm2 == Approx(before.budget[i].u_mm2).epsilon(1e-3));
  }
}

TEST_CASE("a margin that was found without a hint is shown as a proposal until a person accepts it, and no longer then") {
  OnTheDesk c;
  {  // as `uroko book measure` leaves it
    Session s(c.places);
    open_and_trace(s, c.koi);
    s.accept();
    REQUIRE(s.settle());
    auto book = casebook::Book::open(c.koi);
    auto row = book.all<casebook::MeasureRow>().at(0);
    CHECK_FALSE(casebook::is_proposal(row));
    auto options = nlohmann::json::parse(row.options_json);
    options["proposal"] = true;
    row.id = 0;
    row.options_json = options.dump();
    book.add(row);
  }
  fs::remove(c.places.unfinished);
  Session s(c.places);
  s.open_book(c.koi);
  REQUIRE(s.settle());
  REQUIRE(s.desk);
  CHECK(s.desk->proposed());
  CHECK_FALSE(s.desk->unsaved());
  CHECK(s.current_wound()->visits.at(0).measured()->proposed);
  const auto asks = [](const std::vector<Warning>& all) { return std::any_of(all.begin(), all.end(), [](const Warning& w) { return w.code == "proposal"; }); };
  REQUIRE(s.desk->measurement);
  CHECK(asks(s.desk->measurement->warnings));
  s.accept();
  REQUIRE(s.settle());
  CHECK_FALSE(s.desk->proposed());
  CHECK_FALSE(s.desk->acceptable());
  CHECK(s.desk->history.now().margin->warnings.empty());
  const auto rows = casebook::Book::open(c.koi, casebook::Access::read).all<casebook::MeasureRow>();
  REQUIRE(rows.size() == 3);
  CHECK_FALSE(casebook::is_proposal(rows.back()));
  CHECK(rows.back().warnings_json.find("\"proposal\"") == std::string::npos);  // nor does the sheet ask for a look
  CHECK_FALSE(asks(s.desk->measurement->warnings));
  CHECK_FALSE(s.current_wound()->visits.at(0).measured()->proposed);
}

TEST_CASE("a photo whose day is corrected onto another visit leaves that visit's water and note as they are") {
  OnTheDesk c(2);
  std::string day;
  {
    auto book = casebook::Book::open(c.koi);
    auto later = book.visits(book.fish().at(0).id).at(1);
    later.water_c = 20.5, later.note = "calm";
    book.update(later);
    day = later.date.iso_date();
  }
  Session s(c.places);
  s.open_book(c.koi);
  REQUIRE(s.settle());
  s.select_visit(s.current_wound()->visits.at(0).visit.id);
  REQUIRE(s.settle());
  s.open_visit();
  REQUIRE(s.visit_form);
  s.visit_form->date = day;
  s.save_visit();
  REQUIRE(s.settle());
  CHECK_FALSE(s.visit_form);
  REQUIRE(s.current_wound()->visits.size() == 1);
  const auto& joined = s.current_wound()->visits.at(0);
  CHECK(joined.photos.size() == 2);
  CHECK(joined.visit.water_c == 20.5);
  CHECK(joined.visit.note == "calm");
  CHECK(s.visit == joined.visit.id);
}
