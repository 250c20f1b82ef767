// Lens profiles that are kept on a machine: which one a photo gets, and what a photo gets without one.
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdlib>
#include <fstream>

#include "support/environment.h"
#include "support/temp_folder.h"
#include "uroko/scale/lens.h"

using namespace uroko;
using namespace uroko::scale;
using uroko::testing::Environment;
using uroko::testing::TempFolder;
namespace fs = std::filesystem;

namespace {

LensProfile profile(const std::string& model, double focal_mm, double k1) {
  LensProfile p;
  p.make = "Maker", p.model = model, p.focal_mm = focal_mm;
  p.width_px = 4000, p.height_px = 3000;
  p.camera.fx = p.camera.fy = 3100, p.camera.cx = 1990, p.camera.cy = 1490, p.camera.k1 = k1, p.camera.focal_relative_u = 0.001;
  return p;
}

void keep(const fs::path& file, const LensProfile& p) { std::ofstream(file) << to_json(p); }

photo::PhotoInfo taken_with(const std::string& make, const std::string& model, std::optional<double> focal_mm) {
  photo::PhotoInfo info;
  info.width_px = 4000, info.height_px = 3000, info.orientation = 1;
  info.camera_make = make, info.camera_model = model, info.focal_mm = focal_mm;
  info.focal35_mm = 28;
  return info;
}

}  // namespace

TEST_CASE("a photo gets the profile of its own camera and focal length, and none that would be told as another's") {
  TempFolder folder;
  keep(folder / "b-tele.json", profile("Pond 2", 9.0, 0.01));
  keep(folder / "a-wide.json", profile("Pond 2", 4.2, -0.08));
  keep(folder / "other.json", profile("Pond 3", 4.2, 0.03));
  std::ofstream(folder / "damaged.json") << "{\"uroko_lens\": 1";
  std::ofstream(folder / "notes.txt") << "not a profile";
  const auto kept = kept_profiles(folder.path());
  REQUIRE(kept.size() == 3);  // what cannot be read is passed over
  CHECK(kept[0].file.filename() == "a-wide.json");
  CHECK(kept[1].profile.focal_mm == 9.0);

  const auto found = matching_profile(folder.path(), taken_with(" MAKER", "pond 2 ", 4.25));
  REQUIRE(found);
  CHECK(found->camera.k1 == -0.08);
  CHECK(matching_profile(folder.path(), taken_with("Maker", "Pond 2", 9.0))->camera.k1 == 0.01);
  CHECK_FALSE(matching_profile(folder.path(), taken_with("Maker", "Pond 2", 6.0)));
  CHECK_FALSE(matching_profile(folder.path(), taken_with("Maker", "Pond 2", std::nullopt)));
  CHECK_FALSE(matching_profile(folder.path(), taken_with("Maker", "", 4.2)));
  CHECK_FALSE(matching_profile(folder.path(), taken_with("Another", "Pond 2", 4.2)));
  auto cropped = taken_with("Maker", "Pond 2", 4.2);
  cropped.height_px = 2000;
  CHECK_FALSE(matching_profile(folder.path(), cropped));

  const auto with = camera_for(taken_with("Maker", "Pond 2", 4.2), folder.path());
  CHECK(with.from == Camera::From::profile);
  CHECK(with.k1 == -0.08);
  CHECK(with.distorts());
  CHECK(with.fx == Approx(3100));
  const auto without = camera_for(taken_with("Maker", "Pond 9", 4.2), folder.path());
  CHECK(without.from == Camera::From::exif);
  CHECK_FALSE(without.distorts());
  CHECK(without.fx == Approx(28 * 5000 / std::hypot(36.0, 24.0)));  // 5000 px diagonal for film's 43.3 mm (CIPA DCG-001)
  CHECK(kept_profiles(folder / "none").empty());
}

TEST_CASE("profiles are kept in the person's configuration folder") {
  {
    const Environment e(std::map<std::string, std::string>{{"XDG_CONFIG_HOME", "/somewhere/config"}});
    CHECK(lens_folder() == "/somewhere/config/uroko/lenses");
  }
  const Environment e({{"XDG_CONFIG_HOME", ""}, {"HOME", "/somewhere/home"}});
  CHECK(lens_folder() == "/somewhere/home/.config/uroko/lenses");
}
