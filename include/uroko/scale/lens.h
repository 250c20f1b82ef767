#pragma once
#include <filesystem>
#include <opencv2/core.hpp>
#include <optional>
#include <string>
#include <vector>

#include "uroko/base/date.h"
#include "uroko/base/estimate.h"
#include "uroko/base/result.h"
#include "uroko/photo/photo.h"
#include "uroko/scale/camera.h"
#include "uroko/scale/card.h"

namespace uroko::scale {

/// A calibrated lens: which camera it is for, its model on the sensor as it lies (EXIF orientation 1), and how good the calibration was.
struct LensProfile {
  std::string make, model, lens_model;
  std::optional<double> focal_mm;
  int width_px = 0, height_px = 0;
  Camera camera;
  double rms_px = 0;    ///< reprojection, over both axes, as cv::calibrateCamera gives it
  double coverage = 0;  ///< share of the frame's 16 x 12 cells that held a board point, 0..1
  int views = 0;
  std::string board;    ///< what was photographed, in words
  std::optional<DateTime> made{};  ///< when it was calibrated; profiles of before do not say
  struct View {
    std::string file;
    double rms_px = 0;
    std::string rejected;  ///< why it was not used; empty when it was
  };
  std::vector<View> photos;
};

/// Throws Error(Fault::input) naming the field that is missing or makes no sense.
LensProfile read_lens_profile(const std::filesystem::path& file);
LensProfile lens_profile_from_json(const std::string& text, const std::filesystem::path& file);
std::string to_json(const LensProfile& profile);

/// The profile's model for that photo's size and orientation. Refuses a photo of another shape (cropped, or another camera).
/// Warns (into `warnings`) when make, model or focal length in EXIF are others.
Result<Camera> camera_from_profile(const LensProfile& profile, const photo::PhotoInfo& info, std::vector<Warning>& warnings);

/// Focal length from EXIF's 35 mm equivalent (by the frame's diagonal, CIPA DCG-001), else assumed_camera.
Camera camera_from_exif(const photo::PhotoInfo& info);

/// Where a person keeps profiles: $XDG_CONFIG_HOME/uroko/lenses, else ~/.config/uroko/lenses.
std::filesystem::path lens_folder();
/// The profile in that folder made for the photo's make, model and focal length (2 %) and shape. Unreadable files are passed over.
std::optional<LensProfile> matching_profile(const std::filesystem::path& folder, const photo::PhotoInfo& info);
/// Every readable profile in that folder, by file name.
struct KeptProfile {
  std::filesystem::path file;
  LensProfile profile;
};
std::vector<KeptProfile> kept_profiles(const std::filesystem::path& folder = lens_folder());
/// What is best known of the photo's camera: a matching profile, else EXIF, else assumed.
Camera camera_for(const photo::PhotoInfo& info, const std::filesystem::path& folder = lens_folder());

/// A board to calibrate with: a plain checkerboard of `columns` x `rows` inner corners, or the printed lens sheet.
struct CalibrationBoard {
  bool lens_sheet = false;
  int columns = 9, rows = 6;
  double square_mm = 25;
};
struct BoardView {
  std::vector<ImagePoint> seen;
  std::vector<PlanePoint> real;
};
/// Refuses a photo in which the board is not found whole (checkerboard) or too little of it (lens sheet).
Result<BoardView> find_calibration_board(const cv::Mat& photo, const CalibrationBoard& board);

struct CalibrationPhoto {
  photo::PhotoInfo info;
  Result<BoardView> view;
};
/// cv::calibrateCamera over the views (Zhang 2000), views that fit far worse than the others left out. Refuses fewer than five usable
/// views, pictures of different sizes, and views too alike to tell the focal length.
Result<LensProfile> calibrate(const std::vector<CalibrationPhoto>& photos, const CalibrationBoard& board);

}  // namespace uroko::scale
