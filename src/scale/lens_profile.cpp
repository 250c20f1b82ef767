#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <nlohmann/json.hpp>

#include "scale/warnings.h"
#include "uroko/base/error.h"
#include "uroko/base/file.h"
#include "uroko/base/text.h"
#include "uroko/scale/lens.h"

namespace uroko::scale {

using nlohmann::json;

namespace {

/// Upright picture from the sensor's, EXIF 1, 3, 6, 8: a turn; mirrored orientations are not made by cameras.
Camera turned(const Camera& sensor, int orientation, int sensor_width, int sensor_height) {
  Camera c = sensor;
  const double w = sensor_width - 1, h = sensor_height - 1;
  // The tangential terms are a vector: d = r^2 p + 2 (p . n) n with p = (p2, p1).
  switch (orientation) {
    case 3:
      c.cx = w - sensor.cx, c.cy = h - sensor.cy, c.p1 = -sensor.p1, c.p2 = -sensor.p2;
      break;
    case 6:  // a quarter turn clockwise: X = h - y, Y = x
      c.cx = h - sensor.cy, c.cy = sensor.cx, c.p2 = -sensor.p1, c.p1 = sensor.p2;
      std::swap(c.fx, c.fy);
      break;
    case 8:  // a quarter turn back: X = y, Y = w - x
      c.cx = sensor.cy, c.cy = w - sensor.cx, c.p2 = sensor.p1, c.p1 = -sensor.p2;
      std::swap(c.fx, c.fy);
      break;
    default: break;
  }
  return c;
}

bool quarter(int orientation) { return orientation >= 5 && orientation <= 8; }

std::string clean(const std::string& text) { return lower_ascii(trim(text)); }

double number_in(const json& from, const char* key, const std::filesystem::path& file) {
  const auto it = from.find(key);
  if (it == from.end() || !it->is_number())
    throw Error(Fault::input, "lens-profile", file, std::string("the lens profile has no number \"") + key + "\"", "make it again with uroko lens");
  return it->get<double>();
}

}  // namespace

std::string to_json(const LensProfile& p) {
  json out;
  out["uroko_lens"] = 1;
  out["camera"] = {{"make", p.make}, {"model", p.model}, {"lens", p.lens_model}, {"focal_mm", p.focal_mm ? json(*p.focal_mm) : json(nullptr)}};
  out["width_px"] = p.width_px;
  out["height_px"] = p.height_px;
  const Camera& c = p.camera;
  out["fx"] = c.fx, out["fy"] = c.fy, out["cx"] = c.cx, out["cy"] = c.cy;
  out["k1"] = c.k1, out["k2"] = c.k2, out["p1"] = c.p1, out["p2"] = c.p2, out["k3"] = c.k3;
  out["focal_relative_u"] = c.focal_relative_u;
  out["rms_px"] = p.rms_px;
  out["coverage"] = p.coverage;
  out["views"] = p.views;
  out["board"] = p.board;
  if (p.made) out["made"] = p.made->iso_date();
  out["photos"] = json::array();
  for (const auto& v : p.photos) {
    json one{{"file", v.file}};
    if (v.rejected.empty()) {
      one["rms_px"] = v.rms_px;
    } else {
      one["rejected"] = v.rejected;
    }
    out["photos"].push_back(one);
  }
  return out.dump(2, ' ', false, json::error_handler_t::replace) + "\n";
}

LensProfile lens_profile_from_json(const std::string& text, const std::filesystem::path& file) {
  const json in = json::parse(text, nullptr, false);
  if (!in.is_object() || in.value("uroko_lens", json()) != json(1))
    throw Error(Fault::input, "lens-profile", file, "the file is not a lens profile of this version", "make one with uroko lens");
  LensProfile p;
  if (const auto camera = in.find("camera"); camera != in.end() && camera->is_object()) {
    const auto word = [&](const char* key) {
      const auto it = camera->find(key);
      return it != camera->end() && it->is_string() ? it->get<std::string>() : std::string();
    };
    p.make = word("make"), p.model = word("model"), p.lens_model = word("lens");
    if (const auto it = camera->find("focal_mm"); it != camera->end() && it->is_number()) p.focal_mm = it->get<double>();
  }
  const double w = number_in(in, "width_px", file), h = number_in(in, "height_px", file);
  Camera& c = p.camera;
  c.from = Camera::From::profile;
  c.fx = number_in(in, "fx", file), c.fy = number_in(in, "fy", file), c.cx = number_in(in, "cx", file), c.cy = number_in(in, "cy", file);
  c.k1 = number_in(in, "k1", file), c.k2 = number_in(in, "k2", file), c.p1 = number_in(in, "p1", file), c.p2 = number_in(in, "p2", file);
  c.k3 = number_in(in, "k3", file);
  c.focal_relative_u = number_in(in, "focal_relative_u", file);
  p.rms_px = number_in(in, "rms_px", file);
  p.coverage = number_in(in, "coverage", file);
  p.views = static_cast<int>(std::clamp(number_in(in, "views", file), 0.0, 1e6));
  if (const auto it = in.find("board"); it != in.end() && it->is_string()) p.board = it->get<std::string>();
  if (const auto it = in.find("made"); it != in.end() && it->is_string()) p.made = DateTime::parse(it->get<std::string>());
  const auto wrong = [&](const char* what, bool bad) {
    if (bad) throw Error(Fault::input, "lens-profile", file, std::string("the lens profile's ") + what + " makes no sense", "make it again with uroko lens");
  };
  wrong("picture size", !(w >= 16 && h >= 16 && w <= 100000 && h <= 100000 && w == std::floor(w) && h == std::floor(h)));
  p.width_px = static_cast<int>(w), p.height_px = static_cast<int>(h);
  const double longer = std::max(w, h);
  wrong("focal length", !(c.fx > 0.2 * longer && c.fy > 0.2 * longer && c.fx < 100 * longer && c.fy < 100 * longer && std::abs(c.fx / c.fy - 1) < 0.2));
  wrong("principal point", !(c.cx > 0 && c.cy > 0 && c.cx < w && c.cy < h));
  wrong("focal_relative_u", !(c.focal_relative_u >= 0 && c.focal_relative_u < 0.5));
  // The model must not fold over inside the frame it was made for.
  for (const double x : {0.0, w / 2, w - 1})
    for (const double y : {0.0, h / 2, h - 1}) {
      const ImagePoint back = c.distorted(c.undistorted({x, y}));
      wrong("distortion", !(distance(back, ImagePoint{x, y}) < 0.01));
    }
  c.name = trim(p.make + " " + p.model);
  if (c.name.empty()) c.name = file.filename().string();
  return p;
}

LensProfile read_lens_profile(const std::filesystem::path& file) { return lens_profile_from_json(read_file(file, std::size_t{1} << 20), file); }

Result<Camera> camera_from_profile(const LensProfile& profile, const photo::PhotoInfo& info, std::vector<Warning>& warnings) {
  const bool across = quarter(info.orientation);
  int width = across ? info.height_px : info.width_px, height = across ? info.width_px : info.height_px;
  int orientation = info.orientation;
  const auto same_shape = [&](int w, int h) {
    return std::abs(static_cast<double>(w) / h / (static_cast<double>(profile.width_px) / profile.height_px) - 1) < 0.01;
  };
  if (!same_shape(width, height) && same_shape(height, width) && info.orientation == 1) {
    // Turned upright by some program that dropped the tag: which way is unknown, and matters little.
    orientation = 6;
    std::swap(width, height);
  }
  if (!same_shape(width, height))
    return Refusal{"lens-size",
                   "the lens profile is for pictures of " + std::to_string(profile.width_px) + " x " + std::to_string(profile.height_px) +
                       " and this photo is " + std::to_string(info.width_px) + " x " + std::to_string(info.height_px),
                   "use the uncropped photo, or make a profile for this camera"};
  const auto differs = [](const std::string& a, const std::string& b) { return !clean(a).empty() && !clean(b).empty() && clean(a) != clean(b); };
  if (differs(profile.make, info.camera_make) || differs(profile.model, info.camera_model))
    warnings.push_back(warning("lens-other-camera", "the lens profile was made with " + trim(profile.make + " " + profile.model) + ", the photo with " +
                                                        trim(info.camera_make + " " + info.camera_model)));
  if (profile.focal_mm && info.focal_mm && std::abs(*info.focal_mm / *profile.focal_mm - 1) > 0.02)
    warnings.push_back(warning("lens-other-focal", "the lens profile is for " + fixed_text(*profile.focal_mm, 1) + " mm focal length, the photo has " +
                                                       fixed_text(*info.focal_mm, 1) + " mm"));
  Camera c = profile.camera;
  const double sx = static_cast<double>(width) / profile.width_px, sy = static_cast<double>(height) / profile.height_px;
  c.fx *= sx, c.fy *= sy;
  c.cx = (c.cx + 0.5) * sx - 0.5, c.cy = (c.cy + 0.5) * sy - 0.5;
  return turned(c, orientation, width, height);
}

Camera camera_from_exif(const photo::PhotoInfo& info) {
  Camera c = assumed_camera(info.width_px, info.height_px);
  if (info.focal35_mm && *info.focal35_mm >= 5 && *info.focal35_mm <= 2000) {
    // 35 mm film: 36 x 24 mm. Makers round to whole mm and differ between diagonal and width: 3 %.
    c.fx = c.fy = *info.focal35_mm * std::hypot(info.width_px, info.height_px) / std::hypot(36.0, 24.0);
    c.from = Camera::From::exif;
    c.focal_relative_u = 0.03;
    c.name = trim(info.camera_make + " " + info.camera_model);
  }
  return c;
}

std::filesystem::path lens_folder() {
  const char* config = std::getenv("XDG_CONFIG_HOME");
  if (config && *config) return std::filesystem::path(config) / "uroko" / "lenses";
  const char* home = std::getenv("HOME");
  return std::filesystem::path(home && *home ? home : ".") / ".config" / "uroko" / "lenses";
}

std::vector<KeptProfile> kept_profiles(const std::filesystem::path& folder) {
  std::error_code failed;
  std::vector<std::filesystem::path> files;
  for (const auto& entry : std::filesystem::directory_iterator(folder, failed))
    if (entry.path().extension() == ".json") files.push_back(entry.path());
  std::sort(files.begin(), files.end());
  std::vector<KeptProfile> out;
  for (const auto& file : files) {
    try {
      out.push_back({file, read_lens_profile(file)});
    } catch (const Error&) {
      continue;
    }
  }
  return out;
}

std::optional<LensProfile> matching_profile(const std::filesystem::path& folder, const photo::PhotoInfo& info) {
  if (clean(info.camera_model).empty() || !info.focal_mm) return std::nullopt;
  for (auto& [file, p] : kept_profiles(folder)) {
    std::vector<Warning> warnings;
    if (clean(p.make) == clean(info.camera_make) && clean(p.model) == clean(info.camera_model) && p.focal_mm && camera_from_profile(p, info, warnings).ok() && warnings.empty()) return p;
  }
  return std::nullopt;
}

Camera camera_for(const photo::PhotoInfo& info, const std::filesystem::path& folder) {
  if (const auto profile = matching_profile(folder, info)) {
    std::vector<Warning> warnings;
    return *camera_from_profile(*profile, info, warnings);
  }
  return camera_from_exif(info);
}

}  // namespace uroko::scale
