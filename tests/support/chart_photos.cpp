#include "support/chart_photos.h"

#include <catch2/catch.hpp>
#include <opencv2/aruco.hpp>
#include <opencv2/imgproc.hpp>

#include "scale/edge_line.h"
#include "uroko/photo/photo.h"
#include "uroko/scale/lens.h"
#include "uroko/scale/references.h"

namespace uroko::testing {

std::vector<ChartPhoto> chart_photos() {
  std::vector<ChartPhoto> out;
  const std::filesystem::path folder = std::filesystem::path(UROKO_SHARED_DATA) / "aruco_colorchecker" / "images";
  if (!std::filesystem::exists(folder)) return out;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) {
    ChartPhoto chart;
    chart.file = entry.path();
    chart.mini = entry.path().filename().string().find("mini") != std::string::npos;
    const auto photo = photo::load(entry.path());
    std::vector<std::vector<cv::Point2f>> corners;
    std::vector<int> ids;
    auto parameters = cv::aruco::DetectorParameters::create();
    parameters->cornerRefinementMethod = cv::aruco::CORNER_REFINE_SUBPIX;
    cv::aruco::detectMarkers(photo.bgr, cv::aruco::getPredefinedDictionary(cv::aruco::DICT_4X4_50), corners, ids, parameters);
    int seen = 0;
    const int order[] = {0, 1, 3, 2}, which[] = {2, 3, 1, 0};  // ids TL TR BL BR; their inner corners
    for (std::size_t i = 0; i < ids.size(); ++i) {
      if (ids[i] < 0 || ids[i] > 3) continue;
      const auto& c = corners[i][static_cast<std::size_t>(which[ids[i]])];
      chart.frame[static_cast<std::size_t>(order[ids[i]])] = {c.x, c.y};
      ++seen;
    }
    if (seen != 4) continue;
    const double frame_w = chart.mini ? 70 : 210, frame_h = chart.mini ? 115 : 300, w = chart.mini ? 63.5 : 203, h = chart.mini ? 109 : 292;
    chart.area_mm2 = w * h;
    const auto camera = scale::camera_for(photo.info, "/nowhere");
    const auto map = scale::from_rectangle(photo.bgr, camera, chart.frame, frame_w, frame_h);
    REQUIRE(map.ok());
    chart.map = *map;
    cv::Mat grey;
    cv::cvtColor(photo.bgr, grey, cv::COLOR_BGR2GRAY);
    const double mx = (frame_w - w) / 2, my = (frame_h - h) / 2;
    const PlanePoint edge[] = {{mx, my}, {mx + w, my}, {mx + w, my + h}, {mx, my + h}};
    std::array<std::optional<scale::EdgeLine>, 4> lines;
    bool all = true;
    for (std::size_t i = 0; i < 4; ++i) {
      const auto a = map->to_image(edge[i]), b = map->to_image(edge[(i + 1) % 4]);
      lines[i] = scale::find_edge_line({grey}, camera, a, b, 2.5 / map->mm_per_px(a));
      all = all && lines[i].has_value();
    }
    if (!all) continue;
    chart.outline = {{{{}, {}}}};
    for (std::size_t i = 0; i < 4; ++i) chart.outline.parts[0].outer.push_back(*scale::meeting(*lines[(i + 3) % 4], *lines[i]));
    out.push_back(std::move(chart));
  }
  return out;
}

}  // namespace uroko::testing
