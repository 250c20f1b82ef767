// The lens profile of a photo and the checkerboard mat, given in the window. Photos: a sample photo, a drawn mat.
#include <catch2/catch.hpp>
#include <cstdlib>
#include <opencv2/imgproc.hpp>

#include "gui/harness.h"
#include "gui/sample_book.h"
#include "support/flat_photo.h"
#include "uroko/base/file.h"
#include "uroko/photo/photo.h"
#include "uroko/scale/lens.h"

using namespace uroko;
using namespace uroko::testing;
namespace fs = std::filesystem;

namespace {

/// A home of its own for the kept profiles.
class ConfigHome {
 public:
  explicit ConfigHome(const fs::path& folder) {
    if (const char* was = std::getenv("XDG_CONFIG_HOME")) kept_ = was;
    ::setenv("XDG_CONFIG_HOME", folder.c_str(), 1);
  }
  ~ConfigHome() {
    if (kept_)
      ::setenv("XDG_CONFIG_HOME", kept_->c_str(), 1);
    else
      ::unsetenv("XDG_CONFIG_HOME");
  }

 private:
  std::optional<std::string> kept_;
};

/// The camera that took the sample photos (scenes/sample_case.cpp), as a profile.
scale::LensProfile sample_profile(const photo::PhotoInfo& info) {
  scale::LensProfile p;
  p.make = info.camera_make, p.model = info.camera_model, p.focal_mm = info.focal_mm;
  p.width_px = info.width_px, p.height_px = info.height_px;
  auto& c = p.camera;
  c.fx = c.fy = 35 * std::hypot(info.width_px, info.height_px) / 43.27;
  c.cx = (info.width_px - 1) / 2.0, c.cy = (info.height_px - 1) / 2.0;
  c.k1 = -0.012, c.k2 = 0.004;
  c.focal_relative_u = 0.002;
  p.rms_px = 0.31, p.coverage = 0.8, p.views = 14;
  p.made = DateTime::parse("2026-02-11");
  return p;
}

double lens_u(const Harness& h) {
  for (const auto& line : h.session.desk->measurement->budget)
    if (line.source == "lens") return line.u_mm2;
  return 0;
}

}  // namespace

TEST_CASE("the window says which lens profile a photo has, takes another, none or one from a file, and the interval answers") {
  TempFolder folder;
  ConfigHome home(folder / "config");
  const auto file = kSamples / sample(0)["file"].get<std::string>();
  auto profile = sample_profile(photo::probe(file));
  fs::create_directories(scale::lens_folder());
  write_file_whole(scale::lens_folder() / "m3.json", scale::to_json(profile));
  Harness h(folder.path());
  h.session.open_book(book_of(folder, 1));
  h.settle();
  REQUIRE(h.session.desk);
  REQUIRE(h.session.desk->measurement);
  // The command line measured it with the kept profile, and the window says so.
  REQUIRE(h.session.lens_in_use());
  CHECK(h.session.lens_in_use()->profile.rms_px == Approx(0.31));
  CHECK(h.session.lens_in_use()->profile.made->iso_date() == "2026-02-11");
  const auto& now = [&]() -> const app::Work& { return h.session.desk->history.now(); };
  CHECK(now().lens.by == app::LensChoice::By::itself);
  const double with = h.session.desk->measurement->area_mm2.value;

  CHECK_FALSE(h.has("lens.none"));
  h.session.run("scale.lens");
  h.settle();
  REQUIRE(h.has("lens.kept.m3.json"));
  h.session.choose_lens({app::LensChoice::By::none, {}});
  h.settle();
  CHECK(now().map->camera.from == scale::Camera::From::exif);
  CHECK_FALSE(h.session.lens_in_use());
  REQUIRE(h.session.desk->measurement);
  CHECK(h.session.desk->measured == h.session.desk->generation);
  const double u_none = lens_u(h), without = h.session.desk->measurement->area_mm2.value;
  CHECK(*h.session.undo_label() == "no lens profile");
  CHECK(without == Approx(with).epsilon(0.01));

  h.session.choose_lens({app::LensChoice::By::file, scale::lens_folder() / "m3.json"});
  h.settle();
  CHECK(now().map->camera.from == scale::Camera::From::profile);
  CHECK(lens_u(h) < u_none);  // the card's own points hold k1 too, so the profile adds little here
  h.session.undo();
  h.settle();
  CHECK(now().lens.by == app::LensChoice::By::none);

  SECTION("a profile of another camera is used with its warning; one of another picture's shape is refused and the scale stays") {
    profile.model = "M9";
    write_file_whole(folder / "other.json", scale::to_json(profile));
    h.session.choose_lens({app::LensChoice::By::file, folder / "other.json"});
    h.settle();
    REQUIRE(now().map);
    CHECK(std::any_of(now().map->warnings.begin(), now().map->warnings.end(), [](const Warning& w) { return w.code == "lens-other-camera"; }));
    const auto before = now().map;
    profile.width_px = profile.height_px;
    profile.camera.cx = profile.camera.cy;
    write_file_whole(folder / "square.json", scale::to_json(profile));
    h.session.choose_lens({app::LensChoice::By::file, folder / "square.json"});
    h.settle();
    CHECK(now().map == before);
    REQUIRE_FALSE(h.session.notices.empty());
    CHECK(h.session.notices.back().text.find("square.json") != std::string::npos);
    write_file_whole(folder / "no.json", "{}");
    h.session.choose_lens({app::LensChoice::By::file, folder / "no.json"});
    h.settle();
    CHECK(now().map == before);
    CHECK(h.session.notices.back().text.find("not a lens profile") != std::string::npos);
    CHECK_FALSE(h.session.desk->finding_scale);
  }
  SECTION("what was chosen is kept with the measure and with the unfinished trace") {
    h.session.accept();
    h.settle();
    h.session.step_visit(0);
    Harness again(folder.path());
    again.session.open_last();
    again.settle();
    REQUIRE(again.session.desk);
    CHECK(again.session.desk->history.now().lens.by == app::LensChoice::By::none);
  }
}

TEST_CASE("a checkerboard mat gives the scale in the window: corners and squares typed, a wrong number named, none found said") {
  // 8 x 6 squares of 10 mm with a white rim.
  constexpr int s = 16;
  cv::Mat print(80 * s, 100 * s, CV_8UC3, cv::Scalar::all(250));
  for (int r = 0; r < 6; ++r)
    for (int c = 0; c < 8; ++c)
      if ((r + c) % 2 == 0) print(cv::Rect((10 + 10 * c) * s, (10 + 10 * r) * s, 10 * s, 10 * s)).setTo(cv::Scalar::all(15));
  FlatView view;
  view.tilt_deg = 12, view.turn_deg = 20, view.distance_mm = 320;
  const auto photo = photograph(print, s, view);
  TempFolder folder;
  write_file_whole(folder / "mat.jpg", photo::encode_jpeg(photo.bgr, 95));
  Harness h(folder.path());
  h.session.open_photo(folder / "mat.jpg");
  h.settle();
  REQUIRE(h.session.desk);
  REQUIRE_FALSE(h.session.desk->history.now().map);
  h.session.run("tool.board");
  h.settle();
  REQUIRE(h.session.scale_form);
  h.type("scale.first", "7,5");
  h.type("scale.second", "5");
  h.type("scale.square", "10,0");
  h.session.confirm_form();
  h.settle();
  CHECK(h.session.scale_form->fault.text.find("whole number") != std::string::npos);
  h.type("scale.first", "9");
  h.session.confirm_form();
  h.settle();
  REQUIRE(h.session.desk->scale_refusal);
  CHECK_FALSE(h.session.desk->history.now().map);
  h.type("scale.first", "7");
  h.press("scale.give");
  h.settle();
  REQUIRE(h.session.desk->history.now().map);
  const auto& map = *h.session.desk->history.now().map;
  CHECK(map.kind == scale::Kind::board);
  // Beside the mat, 10 mm radius, against the drawn truth.
  CHECK(area_ratio(map, photo, 115, 40, 10) == Approx(1).margin(0.005));
  CHECK(*h.session.undo_label() == "scale from the board");
}
