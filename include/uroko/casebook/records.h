#pragma once
#include <cstdint>
#include <optional>
#include <string>

#include "uroko/base/date.h"
#include "uroko/photo/photo.h"

namespace uroko::casebook {

using Id = std::int64_t;

/// The rows of a case book. Text is UTF-8; an id of 0 is a row that is not stored yet; dates are local civil time.

struct Fish {
  Id id = 0;
  std::string name{};     ///< or tag; unique in the book
  std::string variety{};
  std::optional<double> length_mm{};
  std::string note{};
  std::string place{};    ///< pond or tank: whose water readings are this fish's
};

struct Wound {
  Id id = 0, fish = 0;
  std::string name{};     ///< unique for its fish
  std::string site{};     ///< body site in words
  std::string side{};     ///< "left", "right", "both", ""
  std::string traced_margin{};  ///< which margin is followed: kScaledSkin or kNewEpithelium, "" when not said
  std::string note{};
  std::optional<double> outline_x{}, outline_y{};  ///< on the drawn koi: 0 snout .. 1 tail, 0 back .. 1 belly
  std::optional<DateTime> closed{};              ///< a person called it closed then
};
inline constexpr const char* kScaledSkin = "edge of intact, scaled skin";
inline constexpr const char* kNewEpithelium = "edge of new epithelium";

struct Visit {
  Id id = 0, fish = 0;
  DateTime date{};
  photo::DateSource date_from = photo::DateSource::none;
  std::optional<double> water_c{};
  std::string note{};
  std::optional<DateTime> next_look{};  ///< agreed at this visit
};

/// One photo of one wound. The file is Book::photo_file(sha256).
struct PhotoRow {
  Id id = 0, visit = 0, wound = 0;
  std::string sha256{}, original_name{}, extension{};  ///< extension with its dot, lower case
  int width_px = 0, height_px = 0;               ///< after EXIF orientation
  std::optional<DateTime> taken{};
  photo::DateSource taken_from = photo::DateSource::none;
  std::string camera{};
  Id bytes = 0;
  std::string moment{};  ///< "before" or "after" a debridement of that day, "" otherwise
  std::string note{};
};

/// One revision of a photo's measurement; never overwritten. JSON columns hold what is needed to redo it.
struct MeasureRow {
  Id id = 0, photo = 0;
  int revision = 0;  ///< given by the book: 1, 2, ...
  DateTime made{};
  double area_mm2 = 0, u_mm2 = 0, low95 = 0, high95 = 0, perimeter_mm = 0, length_mm = 0, width_mm = 0;
  std::string margin_wkt{}, margin_from{}, scale_json{}, budget_json{}, bed_json{}, warnings_json{}, options_json{}, program{};
  std::string traced{};        ///< which margin, when it is not the wound's own choice
  std::string photo_sha256{};  ///< given by the book
};

/// kind: one of care_kinds().
struct Event {
  Id id = 0, fish = 0;
  std::optional<Id> wound{};  ///< nothing: the whole fish (water, sedation)
  DateTime date{};
  std::string kind{}, product{}, note{};
  std::optional<Id> prescription{};  ///< an injection given by it
};

/// method: "weighed" (on a scale), "estimated" (never used for a dose), or as written.
struct Weight { Id id = 0, fish = 0; DateTime date{}; double grams = 0; std::string method = "weighed", note{}; };

/// Water temperatures that are taken for real ones, in degrees Celsius: a little below freezing for a thermometer's error, and no pond is warmer.
inline constexpr double kLeastWaterC = -3, kMostWaterC = 45;
struct WaterReading { Id id = 0; std::string place{}; DateTime date{}; double water_c = 0; std::string note{}; };

struct Swab {
  Id id = 0, fish = 0;
  std::optional<Id> wound{};
  DateTime taken{};
  std::string site{};
  std::optional<DateTime> sent{};
  std::string laboratory{};
  std::optional<DateTime> reported{};  ///< nothing: still waited for
  std::string method{};                ///< the laboratory's, as written
  std::optional<double> temperature_c{};
  std::string note{};
};

/// One line of a laboratory's report, as written. letter: "S", "I", "R" or "" (organism only).
struct Finding { Id id = 0, swab = 0; std::string organism{}, agent{}, letter{}, note{}; };

/// Exactly what the vet wrote; nothing here has a default.
struct Prescription {
  Id id = 0, fish = 0;
  std::optional<Id> wound{};
  DateTime written{};
  std::string drug{};
  std::optional<double> mg_per_kg{}, mg_per_ml{};
  std::string route{};
  std::optional<double> interval_hours{};
  std::optional<int> doses{};  ///< how many in all
  std::string prescriber{}, note{};
  std::optional<DateTime> stopped{};
};

}  // namespace uroko::casebook
