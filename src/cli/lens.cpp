#include <cstdio>
#include <memory>
#include <nlohmann/json.hpp>
#include <tuple>

#include "cli/cli.h"
#include "cli/measure_flags.h"
#include "uroko/base/error.h"
#include "uroko/base/file.h"
#include "uroko/base/text.h"
#include "uroko/photo/photo.h"
#include "uroko/scale/lens.h"

namespace uroko::cli {

namespace {

struct LensArguments {
  std::vector<std::string> photos;
  std::string board, out;
  double square_mm = 0;
  bool sheet = false, json = false;
};

scale::CalibrationBoard board_of(const LensArguments& a) {
  scale::CalibrationBoard board;
  if (a.sheet) {
    if (!a.board.empty()) throw Error(Fault::usage, "board", "", "--sheet and --board exclude each other", "give one of them");
    board.lens_sheet = true;
    board.square_mm = a.square_mm > 0 ? a.square_mm : scale::lens_sheet_layout().board.square_mm;
    return board;
  }
  if (a.board.empty()) throw Error(Fault::usage, "board", "", "no board was given", "give the inner corners across x down (--board 9x6 --square 25), or --sheet");
  std::tie(board.columns, board.rows) = corners_of(a.board);
  if (!(a.square_mm > 0)) throw Error(Fault::usage, "square", "", "the side of a square is not given", "add --square MM");
  board.square_mm = a.square_mm;
  return board;
}

void calibrate(const LensArguments& a) {
  const auto board = board_of(a);
  std::vector<scale::CalibrationPhoto> photos;
  for (const auto& file : a.photos) {
    auto photo = photo::load(file);
    photos.push_back({photo.info, scale::find_calibration_board(photo.bgr, board)});
  }
  auto profile = scale::calibrate(photos, board);
  if (!profile) throw Error(Fault::not_measured, profile.refusal().code, "", profile.refusal().text, profile.refusal().advice);
  profile->made = DateTime::now();
  const std::string text = scale::to_json(*profile);
  write_file_whole(a.out, text);
  if (a.json) {
    std::printf("%s", text.c_str());
    return;
  }
  for (const auto& p : profile->photos) {
    if (p.rejected.empty()) {
      std::printf("%-32s %.3f px\n", p.file.c_str(), p.rms_px);
    } else {
      std::printf("%-32s not used: %s\n", p.file.c_str(), p.rejected.c_str());
    }
  }
  std::printf("%s: %d of %zu photos, reprojection RMS %.3f px, %.0f %% of the frame covered, focal length %.1f px (%.2f %%)\n", a.out.c_str(), profile->views,
              profile->photos.size(), profile->rms_px, 100 * profile->coverage, profile->camera.fx, 100 * profile->camera.focal_relative_u);
  if (profile->coverage < 0.5)
    std::fprintf(stderr, "uroko: %s: less than half of the frame was covered; add photos with the board near the edges and corners\n", a.out.c_str());
}

}  // namespace

void add_lens(CLI::App& app) {
  auto* verb = app.add_subcommand("lens", "Make a lens profile from photos of a checkerboard taken from many sides");
  const auto a = std::make_shared<LensArguments>();
  verb->add_option("PHOTO", a->photos, "photos of the board, one camera, one zoom, held the same way")->required();
  verb->add_option("--board", a->board, "inner corners across x down, such as 9x6");
  verb->add_option("--square", a->square_mm, "side of a square, mm")->check(CLI::PositiveNumber);
  verb->add_flag("--sheet", a->sheet, "the photos show the sheet of uroko card --lens-sheet");
  verb->add_option("-o,--output", a->out, "profile to write (.json)")->required();
  verb->add_flag("--json", a->json, "print the profile");
  verb->footer("A profile kept in ~/.config/uroko/lenses is taken by itself for photos of the same camera and focal length.");
  verb->callback([a] { calibrate(*a); });
}

}  // namespace uroko::cli
