#pragma once
// An invented record for the sheet: the course of example_course.h with photos drawn by a formula.
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "report/example_course.h"
#include "uroko/geometry/polygon.h"
#include "uroko/report/sheet.h"

namespace uroko::testing {

/// A wavy ring of that area about (cx, cy), in the unit of the points.
template <class P>
Outline<P> wavy(double cx, double cy, double wanted) {
  Outline<P> o{{{{}, {}}}};
  for (int i = 0; i < 90; ++i) {
    const double t = i * std::numbers::pi / 45, r = 1 + 0.12 * std::cos(2 * t) + 0.05 * std::cos(3 * t + 1) + 0.03 * std::cos(5 * t);
    o.parts[0].outer.push_back({1.25 * r * std::cos(t), 0.85 * r * std::sin(t)});
  }
  const double s = std::sqrt(wanted / area(o));
  for (auto& p : o.parts[0].outer) p = {cx + s * p.x, cy + s * p.y};
  return o;
}

inline report::SheetPhoto example_photo(const DateTime& date, double area_mm2) {
  report::SheetPhoto photo;
  photo.date = date;
  photo.px_per_mm = 12;
  photo.bgr = cv::Mat(900, 1400, CV_8UC3);
  for (int y = 0; y < photo.bgr.rows; ++y)
    for (int x = 0; x < photo.bgr.cols; ++x) {
      const double scale = 12 * std::sin((x + y) * 0.09) * std::sin((x - y) * 0.09),
                   red = std::sin(x * 0.006 + 1) + std::cos(y * 0.008) > 0.6 ? 1 : 0;
      photo.bgr.at<cv::Vec3b>(y, x) = cv::Vec3b(cv::saturate_cast<uchar>(205 - 120 * red + scale), cv::saturate_cast<uchar>(222 - 110 * red + scale),
                                                cv::saturate_cast<uchar>(232 + scale));
    }
  photo.outline = wavy<ImagePoint>(720, 430, area_mm2 * 144);
  std::vector<cv::Point> ring;
  for (const auto& p : photo.outline.parts[0].outer) ring.emplace_back(static_cast<int>(p.x), static_cast<int>(p.y));
  cv::fillPoly(photo.bgr, std::vector<std::vector<cv::Point>>{ring}, cv::Scalar(60, 62, 168));
  cv::circle(photo.bgr, {700, 420}, 60, cv::Scalar(96, 168, 205), -1, cv::LINE_AA);
  cv::GaussianBlur(photo.bgr, photo.bgr, {}, 2.5);
  return photo;
}

inline report::SheetData example_sheet() {
  report::SheetData d;
  d.series = example_series();
  d.course = example_course(d.series);
  d.fish = "Momo";
  d.variety = "Kōhaku (紅白)";
  d.owner_label = "pond 2, Owner A";
  d.wound = "left flank";
  d.site = "flank";
  d.side = "left";
  d.traced_margin = "edge of intact, scaled skin";
  d.length_mm = 520;
  d.weight_g = 2350;
  d.weighed = DateTime::parse("2026-04-01");
  d.made = *DateTime::parse("2026-04-01T18:30:00");
  for (std::size_t i = 0; i < d.series.looks.size(); ++i) {
    const auto& look = d.series.looks[i];
    report::SheetVisit v;
    v.date = look.date;
    v.date_from = "exif";
    v.area_mm2 = symmetric_estimate(look.area_mm2, look.u_mm2);
    v.bed = look.bed;
    v.scale_kind = "card";
    v.method = "loop";
    v.water_c = d.series.water[i].water_c;
    v.restart = i == 2;
    if (i == 1 || i > 2) {
      v.change_percent = symmetric_estimate(-2.0 - 4.9 * static_cast<double>(i), 1.5);
      v.advance_mm_per_day = symmetric_estimate(0.02 + 0.009 * static_cast<double>(i), 0.006);
    }
    d.visits.push_back(v);
    d.margins.push_back({look.date, wavy<PlanePoint>(30, 20, look.area_mm2), look.area_mm2});
    d.files.push_back({look.date, "momo_" + look.date.iso_date() + ".jpg", std::string(64, static_cast<char>('a' + i % 6))});
  }
  d.first = example_photo(d.series.looks.front().date, d.series.looks.front().area_mm2);
  d.latest = example_photo(d.series.looks.back().date, d.series.looks.back().area_mm2);
  for (const auto& e : d.series.events) d.care.push_back({e.date, e.kind, e.kind == "topical" ? "as the vet wrote" : ""});
  d.swabs.push_back({*DateTime::parse("2026-03-02"),
                     "left flank, laboratory A, disc diffusion at 22 °C",
                     {"organism X: agent 1 S, agent 2 R", "organism Y: agent 1 I"}});
  d.doses.push_back({"agent 1, as written by vet A on 3 Mar 2026: 10 mg/kg, solution 50 mg/mL, every 72 h, 5 times",
                     {"10 mg/kg × 2.35 kg = 23.5 mg", "23.5 mg ÷ 50 mg/mL = 0.47 mL"}});
  return d;
}

}  // namespace uroko::testing
