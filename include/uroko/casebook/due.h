#pragma once
#include <string>
#include <vector>

#include "uroko/casebook/book.h"

namespace uroko::casebook {

/// Names of the book's settings, and what holds when they are not set.
inline constexpr const char* kRecheckFromDays = "recheck_from_days";  ///< 2 days after a treatment: common practice
inline constexpr const char* kRecheckToDays = "recheck_to_days";      ///< 3 days: common practice
inline constexpr const char* kSwabHours = "swab_hours";               ///< 48 h until a laboratory answers: common practice

struct DueItem {
  enum class Kind { recheck, agreed_look, swab_result, injection } kind = Kind::recheck;
  enum class State { later, due, overdue } state = State::later;
  Id fish = 0, wound = 0;  ///< wound 0: the whole fish
  Id source = 0;           ///< the swab, prescription or visit behind it
  std::string fish_name, wound_name;
  DateTime from, until;    ///< civil dates (with a time where the care had one)
  std::string text;        ///< one plain line with its reason
};
const char* name(DueItem::Kind kind);    ///< "recheck", "agreed look", "swab result", "next dose"
const char* name(DueItem::State state);  ///< "later", "due", "overdue"

/// What waits on `now` over all fish, and what comes within `ahead_days`; the most pressing first. Nothing here is advice:
/// rechecks follow the book's settings, doses follow the prescription's own interval and number.
std::vector<DueItem> due(const Book& book, const DateTime& now, double ahead_days = 7);

}  // namespace uroko::casebook
