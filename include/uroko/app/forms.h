#pragma once
#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "uroko/app/tools.h"
#include "uroko/photo/photo.h"

namespace uroko::app {

// What is being typed, as typed: text becomes numbers only when it is confirmed (decimal comma accepted; dates ISO 8601, or day.month.year with dots).

/// What is wrong with a form and with which of its fields (by its name on the screen; empty: with the form as a whole). The first fault stays.
struct FormFault {
  std::string text, at;
  bool empty() const { return text.empty(); }
  void clear() { *this = {}; }
  void say(std::string what, std::string field = {}) {
    if (empty()) *this = {std::move(what), std::move(field)};
  }
};

/// Photos that were dropped and wait for a fish, a wound and a date.
struct ImportForm {
  struct Item {
    std::filesystem::path file;
    std::optional<photo::PhotoInfo> info;
    std::string trouble;  ///< why it cannot come in; it is left out
    std::string date;
  };
  std::vector<Item> items;
  std::string book;  ///< path of the book; made when it is not there
  std::string fish, wound, water, weight;
  FormFault fault;
  bool making_book = false;  ///< confirmed; the book is being made or opened
};

/// An entry in the care log.
struct LogForm {
  std::string kind = "cleaning", date, note;
  std::string water;   ///< with kind "water temperature"
  std::string weight;  ///< with kind "weight", g
  bool whole_fish = false;
  FormFault fault;
  std::uint64_t write = 0;  ///< confirmed: its place among the writes; the form closes when the book holds it
};

/// The dose sheet: the vet's prescription and the scales' reading; arithmetic only, no default anywhere.
struct DoseForm {
  std::string drug, dose_mg_per_kg, strength_mg_per_ml, weight_g, weighed_on, prescriber;
};

struct FishForm {
  std::int64_t id = 0;  ///< 0: a new one
  std::string name, variety, length, note;
  FormFault fault;
  std::uint64_t write = 0;  ///< as LogForm's
};

/// What was said of the photo on the desk: its day, fish, wound, and the side of a debridement of that day that it shows.
struct VisitForm {
  std::int64_t photo = 0;
  std::string date, fish, wound, water, note;
  std::string moment;  ///< "before", "after", ""
  FormFault fault;
  std::uint64_t write = 0;  ///< as LogForm's
};

struct WoundForm {
  std::int64_t id = 0;
  std::string name, site, side, note;
  std::string traced;  ///< casebook::kScaledSkin, casebook::kNewEpithelium or ""
  std::string closed;  ///< the day on which a person called it closed
  FormFault fault;
  std::uint64_t write = 0;  ///< as LogForm's
};

/// A scale given by hand, or the curve of the flank (kind midline: depth and width): the picks come from the photo, the lengths are typed.
/// A checkerboard (kind board) has no picks: inner corners across and down, and the side of a square.
struct ScaleForm {
  ToolId kind = ToolId::ruler;
  std::vector<ImagePoint> picks;
  std::string first = "10", second;  ///< mm: length or diameter; width and height; of a board: inner corners across and down
  std::string square;                ///< of a board, mm
  bool typed = false;                ///< a length is the person's own: a suggested one is never used unasked
  FormFault fault;
};

/// A typed path, always there beside the system's dialog.
struct PathForm {
  enum class Purpose { photos, open_book, new_book, report, card, watch, lens } purpose = Purpose::photos;
  std::string text;
  FormFault fault;
  bool asking = false;  ///< the system's dialog is open
};

struct PaletteState {
  bool open = false;
  std::string text;
  int at = 0;
};

}  // namespace uroko::app
