#pragma once
#include <array>
#include <optional>
#include <string>
#include <vector>

#include "uroko/healing/series.h"
#include "uroko/report/chart.h"
#include "uroko/report/koi_outline.h"
#include "uroko/report/paper.h"

namespace uroko::report {

/// One row of the visits' table. What is unknown stays empty and prints as a dash.
struct SheetVisit {
  DateTime date;
  std::string date_from;                   ///< "exif", "user", ...
  std::optional<Estimate> area_mm2;
  std::optional<Estimate> change_percent;  ///< since the baseline that held on that day
  std::optional<Estimate> advance_mm_per_day;
  std::optional<std::array<double, bed::kTissues>> bed;
  std::string scale_kind, method, who;     ///< "card"; where the margin came from; who measured
  std::optional<double> water_c;
  bool restart = false;                    ///< the baseline starts anew here
  std::string note;
};

struct SheetCare { DateTime date; std::string kind, what; };
struct SheetSwab {
  DateTime taken;
  std::string text;                ///< site, laboratory, method, temperature
  std::vector<std::string> lines;  ///< "organism: agent S", as the laboratory wrote it
};
/// A prescription as the vet wrote it and its arithmetic, a line a step, units included.
struct SheetDose { std::string title; std::vector<std::string> lines; };

struct SheetPhoto {
  DateTime date;
  cv::Mat bgr;               ///< empty when the file could not be read: `trouble` says why
  ImageOutline outline;      ///< in pixels of `bgr`
  double px_per_mm = 0;      ///< of `bgr` near the wound; 0 unknown: then no 10 mm bar
  std::string trouble;
};
/// Area as reported (curvature included). `by_skin`: the outline lies where the skin's pattern puts it, in one frame with the others that say so;
/// otherwise it is centred on its own middle, or on that of the one before it where others lie by the skin.
struct SheetMargin { DateTime date; PlaneOutline outline_mm; double area_mm2 = 0; bool by_skin = false; };
struct SheetFile { DateTime date; std::string name, sha256; };

/// Everything the recheck sheet prints, as plain values.
struct SheetData {
  Paper paper = Paper::a4;
  std::string owner_label, fish, variety, wound, site, side, traced_margin;
  std::vector<std::string> other_wounds;  ///< of the same fish: name, last area and its date
  std::optional<double> length_mm, weight_g;
  std::optional<DateTime> weighed;
  std::optional<KoiPlace> place;
  std::optional<healing::Course> course;  ///< nothing when no visit was measured
  healing::Series series;
  TimeAxis axis = TimeAxis::days;
  std::optional<SheetPhoto> first, latest;
  std::vector<SheetVisit> visits;
  std::vector<SheetMargin> margins;       ///< oldest first
  bool margins_level = false;             ///< turned so that the fish's lateral midline is level; otherwise as the reference lay
  std::optional<DateTime> last_sheet;     ///< care is listed from here on
  std::vector<SheetCare> care;
  std::vector<SheetSwab> swabs;
  std::vector<SheetDose> doses;
  std::vector<std::string> cautions;      ///< besides the ones always printed
  std::vector<SheetFile> files;
  DateTime made;
  std::string program;                    ///< "uroko 0.1.0"; empty: this one
};

/// The recheck sheet's pages; as many as the record needs.
std::vector<Scene> sheet_pages(const SheetData& data);
/// The same as a PDF with its title, subject and program.
std::string recheck_sheet(const SheetData& data);

/// One picture for a phone (a portrait, 1080 x 1920 px at 2 px a point where the course allows it): first and latest photo, curve, verdict.
Scene course_picture(const SheetData& data, Theme theme = Theme::light);

}  // namespace uroko::report
