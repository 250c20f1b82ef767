#pragma once
#include <filesystem>
#include <opencv2/core.hpp>
#include <string>

#include "support/temp_folder.h"
#include "uroko/base/date.h"
#include "uroko/base/file.h"
#include "uroko/photo/photo.h"

namespace uroko::casebook::testing {

inline DateTime day(const std::string& text) { return DateTime::parse(text).value(); }

/// A JPEG that is another one for another shade.
inline std::filesystem::path small_photo(const uroko::testing::TempFolder& temp, const std::string& name, double shade) {
  write_file_whole(temp / name, photo::encode_jpeg(cv::Mat(48, 64, CV_8UC3, cv::Scalar(shade, 90, 160)), 90));
  return temp / name;
}

}  // namespace uroko::casebook::testing
