// Ways through the window that a recheck takes only sometimes: a typed path where no dialog is there, a watched folder, the loupe, a scale
// given by hand, two windows on one book, a folder that goes away. Photos: sample_images with their rendered truth, and a drawn disc.
#include <catch2/catch.hpp>
#include <fstream>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "gui/harness.h"
#include "gui/sample_book.h"
#include "support/environment.h"
#include "uroko/app/tour.h"
#include "uroko/base/file.h"
#include "uroko/base/text.h"
#include "uroko/geometry/polygon.h"
#include "uroko/photo/photo.h"

using namespace uroko;
using namespace uroko::testing;
namespace fs = std::filesystem;

namespace {

fs::path photo_file(std::size_t i) { return kSamples / sample(i)["file"].get<std::string>(); }

bool told(const Harness& h, const std::string& part) {
  return std::any_of(h.session.notices.begin(), h.session.notices.end(), [&](const auto& n) { return (n.text + " " + n.advice).find(part) != std::string::npos; });
}

/// A measured book of `visits` sample visits, open in the window.
std::string opened(Harness& h, const TempFolder& folder, std::size_t visits) {
  const auto book = book_of(folder, visits);
  h.session.open_book(book);
  h.settle();
  REQUIRE(h.session.desk);
  REQUIRE(h.session.desk->measurement);
  return book;
}

/// The margin moved a little and accepted.
void accept_another(app::Session& s) {
  s.choose_tool(app::ToolId::points);
  const auto at = s.desk->history.now().outline().parts[0].outer.front();
  s.press({at, 1});
  s.drag({{at.x + 12, at.y + 6}, 1});
  s.release({{at.x + 12, at.y + 6}, 1});
  REQUIRE(s.settle(120));
  REQUIRE(s.desk->unsaved());
  s.accept();
}

}  // namespace

TEST_CASE("with no dialog on the desktop a typed path takes a photo in, and a wrong one is named where it was typed") {
  const Environment none(Environment::no_dialogs());
  TempFolder folder;
  Harness h(folder.path());
  h.press("start.drop");
  h.settle();
  REQUIRE(h.has("path.text"));
  CHECK_FALSE(h.session.path_form->asking);
  h.type("path.text", (folder / "nowhere.jpg").string());
  h.press("path.confirm");
  REQUIRE(h.session.path_form);
  CHECK(h.session.path_form->fault.text.find("is not there") != std::string::npos);
  h.type("path.text", photo_file(0).string());
  h.press("path.confirm");
  h.settle();
  REQUIRE(h.session.import_form);
  CHECK(h.session.import_form->items.size() == 1);
  CHECK(h.session.import_form->items[0].date == "2026-03-02");
}

TEST_CASE("a watched folder brings up what comes into it, once it has stopped growing, and not what lay there") {
  const Environment none(Environment::no_dialogs());
  TempFolder folder;
  const auto watched = folder / "camera";
  fs::create_directory(watched);
  fs::copy_file(photo_file(0), watched / "old.jpg");
  Harness h(folder.path());
  h.session.run("file.watch");
  h.settle();
  h.type("path.text", (folder / "no-such-folder").string());
  h.press("path.confirm");
  CHECK(h.session.path_form->fault.text.find("is not a folder") != std::string::npos);
  h.type("path.text", watched.string());
  h.press("path.confirm");
  CHECK(h.session.settings.watched_folder == watched);
  const auto look = [&] {  // what a look at the folder brought up
    h.session.watch(true);
    h.settle();
    return h.session.import_form ? h.session.import_form->items.size() : 0;
  };
  CHECK(look() == 0);  // what lies there already
  const auto whole = read_file(photo_file(1), std::size_t{64} << 20);
  write_file_whole(watched / "new.jpg", whole.substr(0, whole.size() / 2));
  CHECK(look() == 0);
  write_file_whole(watched / "new.jpg", whole);  // still growing
  CHECK(look() == 0);
  REQUIRE(look() == 1);
  CHECK(h.session.import_form->items[0].file.filename() == "new.jpg");
  CHECK(h.session.import_form->items[0].trouble.empty());
  CHECK(look() == 1);  // once
  fs::remove_all(watched);
  CHECK(look() == 1);  // gone: nothing to bring, and no end of the program
}

TEST_CASE("the loupe is drawn at the pointer over the photo and nowhere else") {
  TempFolder folder;
  Harness h(folder.path());
  opened(h, folder, 1);
  const auto at = h.place("photo").middle();
  h.move(at.x, at.y);
  h.frames(2);
  const int without = ImGui::GetDrawData()->TotalVtxCount;
  h.key("M");
  REQUIRE(h.session.loupe_shown);
  const int with = ImGui::GetDrawData()->TotalVtxCount;
  CHECK(with > without);
  const auto bank = h.place("bank.plot").middle();
  h.move(bank.x, bank.y);
  h.frames(2);
  CHECK(ImGui::GetDrawData()->TotalVtxCount < with);
}

TEST_CASE("a scale is given by hand: two graduations of the card's ruler, or its four corners") {
  TempFolder folder;
  Harness h(folder.path());
  opened(h, folder, 1);
  const double truth = sample(0)["area_mm2"].get<double>();
  const auto map = *h.session.desk->history.now().map;  // the card's, to know where its corners and graduations lie
  SECTION("ruler") {
    h.key("U");
    REQUIRE(h.has("scale.first"));
    h.type("scale.first", "x");
    h.press("scale.give");
    CHECK(h.session.desk->history.now().map->kind == scale::Kind::card);
    h.type("scale.first", "60,0");  // a decimal comma
    for (const double x : {20.0, 80.0}) h.click_photo(map.to_image({x, 40}));
    h.settle();
    CHECK(h.session.desk->history.now().map->kind == scale::Kind::card);  // the clicks alone do not take the card's place
    h.press("scale.give");
    h.settle();
    REQUIRE(h.session.desk->history.now().map->kind == scale::Kind::ruler);
    REQUIRE(h.session.desk->measurement);
    // Two picks know no tilt (9 degrees here, and the wound lies beside the ruler): the interval must say so and hold the truth.
    const auto& area = h.session.desk->measurement->area_mm2;
    CHECK(area.low95 < truth);
    CHECK(area.high95 > truth);
    CHECK_FALSE(h.session.desk->history.now().map->tilt_known);
    CHECK(*h.session.undo_label() == "scale from the ruler");
    h.key("Z", true);
    h.settle();
    CHECK(h.session.desk->history.now().map->kind == scale::Kind::card);
  }
  SECTION("rectangle") {
    REQUIRE(map.reference.size() == 4);
    const auto side = [&](std::size_t a, std::size_t b) { return std::hypot(map.reference_mm[a].x - map.reference_mm[b].x, map.reference_mm[a].y - map.reference_mm[b].y); };
    h.key("Q");
    h.type("scale.first", fixed_text(side(0, 1), 2));
    h.type("scale.second", fixed_text(side(1, 2), 2));
    for (const auto& corner : map.reference) h.click_photo(corner);
    h.press("scale.give");
    h.settle();
    REQUIRE(h.session.desk->history.now().map->kind == scale::Kind::rectangle);
    REQUIRE(h.session.desk->measurement);
    CHECK(h.session.desk->measurement->area_mm2.value == Approx(truth).epsilon(0.05));  // rendered truth
  }
}

TEST_CASE("a scale from a disc: refused in words where none was clicked, found where one was") {
  // 8 px a millimetre: a disc of 25 mm and a wound of 30 x 20 mm.
  cv::Mat picture(900, 1200, CV_8UC3, cv::Scalar(150, 165, 175)), noise(picture.size(), CV_8UC3);
  cv::circle(picture, cv::Point(300, 450), 100, cv::Scalar(225, 225, 225), cv::FILLED, cv::LINE_AA);
  cv::ellipse(picture, cv::Point(780, 450), {120, 80}, 0, 0, 360, cv::Scalar(60, 50, 150), cv::FILLED, cv::LINE_AA);
  cv::GaussianBlur(picture, picture, {}, 1);
  cv::theRNG().state = 1;
  cv::randn(noise, 3, 2);
  picture += noise;
  TempFolder folder;
  write_file_whole(folder / "coin.png", photo::encode_png(picture));
  Harness h(folder.path());
  h.session.drop_files({folder / "coin.png"});
  h.settle();
  h.session.import_form.reset();
  h.frames(2);
  REQUIRE(h.session.desk->scale_refusal);  // there is no card
  h.key("D");
  h.type("scale.first", "25");
  h.click_photo({1100, 60});
  h.settle();
  REQUIRE(h.session.desk->scale_refusal);
  CHECK_FALSE(h.session.desk->scale_refusal->advice.empty());
  CHECK_FALSE(h.session.desk->history.now().map);
  h.click_photo({310, 440});
  h.settle();
  REQUIRE(h.session.desk->history.now().map);
  CHECK(h.session.desk->history.now().map->kind == scale::Kind::disc);
  h.key("L");
  std::vector<ImagePoint> loop;
  for (int i = 0; i <= 40; ++i) loop.push_back({780 + 165 * std::cos(2 * std::numbers::pi * i / 40), 450 + 120 * std::sin(2 * std::numbers::pi * i / 40)});
  h.drag(loop);
  h.settle();
  REQUIRE(h.session.desk->measurement);
  CHECK(h.session.desk->measurement->area_mm2.value == Approx(std::numbers::pi * 15 * 10).epsilon(0.05));
}

TEST_CASE("two windows on one book: both accept, nothing is lost, and each sees the other's at its next write") {
  TempFolder folder;
  Harness h(folder.path());
  const auto book = opened(h, folder, 2);
  app::Session other(app::Places{folder / "other" / "settings.json", folder / "other" / "unfinished.json", {}});
  other.open_book(book);
  REQUIRE(other.settle(120));
  other.step_visit(-1);
  REQUIRE(other.settle(120));
  REQUIRE(other.visit != h.session.visit);
  const auto revision = [](const app::Session& s, std::size_t visit) { return s.current_wound()->visits.at(visit).photos.at(0).measure->id; };
  const auto first = revision(h.session, 0), second = revision(h.session, 1);
  accept_another(other);
  REQUIRE(other.settle(120));
  CHECK(other.notices.empty());
  accept_another(h.session);
  h.settle();
  CHECK(h.session.notices.empty());
  CHECK(revision(h.session, 0) == revision(other, 0));
  CHECK(revision(h.session, 0) != first);
  CHECK(revision(h.session, 1) != second);
  CHECK(uroko::testing::uroko({"book", "check", book}).exit_code == 0);
}

TEST_CASE("a case book that goes away under the window: said in words, the trace stays, and comes back into the book when that is there again") {
  TempFolder folder;
  Harness h(folder.path());
  const auto book = opened(h, folder, 1);
  fs::rename(book, folder / "elsewhere");
  h.session.choose_tool(app::ToolId::points);
  const auto before = h.session.desk->history.now().outline();
  accept_another(h.session);
  h.settle();
  REQUIRE(h.session.desk->save_refusal);
  CHECK_FALSE(h.session.desk->save_refusal->advice.empty());
  CHECK(h.session.desk->unsaved());
  CHECK_FALSE(h.session.desk->history.now().outline() == before);
  fs::rename(folder / "elsewhere", book);
  h.key("Enter");
  h.settle();
  CHECK_FALSE(h.session.desk->unsaved());
  CHECK(uroko::testing::uroko({"book", "check", book}).exit_code == 0);
}

TEST_CASE("a book in the list of recent ones that is gone is said to be gone") {
  TempFolder folder;
  Harness h(folder.path());
  h.session.settings.recent_books = {folder / "Gone.uroko"};
  h.frames(2);
  h.press("start.recent.0");
  h.settle();
  CHECK_FALSE(h.session.has_book());
  CHECK(told(h, "Gone.uroko"));
  CHECK_FALSE(h.session.notices.back().advice.empty());
}

TEST_CASE("the sample case opens with a tour that points at what is on the screen, can be left, and does not come again by itself") {
  TempFolder folder;
  const auto book = book_of(folder, 2);
  Harness h(folder.path(), 1280, 800);
  h.session.places.sample = book;
  h.frames(2);
  h.press("start.sample");
  h.settle();
  const auto& stops = app::tour_stops();
  const gui::Box window{0, 0, 1280, 800};
  for (std::size_t i = 0; i < stops.size(); ++i) {
    INFO(stops[i].widget);
    REQUIRE(h.session.tour_at == i);
    CHECK(h.has(stops[i].widget));
    const auto next = h.place("tour.next");
    CHECK(window.holds(next.low()));
    CHECK(window.holds(next.high()));
    h.press("tour.next");
  }
  CHECK_FALSE(h.session.tour_at);
  h.settle();  // a worker keeps the settings
  CHECK(app::load_settings(folder / "config" / "settings.json").tour_seen);
  h.session.close_book();
  h.session.open_sample();
  h.settle();
  CHECK_FALSE(h.session.tour_at);
  h.key("F2");
  CHECK(h.session.tour_at == 0u);
  h.press("tour.end");
  CHECK_FALSE(h.session.tour_at);
  h.key("F2");
  h.key("Escape");
  CHECK_FALSE(h.session.tour_at);
  CHECK(h.session.desk);
}
