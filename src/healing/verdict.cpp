#include <algorithm>
#include <cmath>

#include "healing/working.h"
#include "uroko/base/text.h"

namespace uroko::healing {

namespace {

constexpr double kSure = 0.995;             // one-sided, at each look; keeps false "closing" below 5 % over a whole course (tests/bench/healing.cpp)
constexpr double kSureAfterBreak = 0.998;
constexpr double kSureOfTwo = 0.991;        // two looks: as either may be grossly wrong, no more can be had from a decrease below about 16 %
constexpr double kBlind = 0.25;             // no detectable change is said only when a decrease (or increase) by this much would have shown
constexpr double kColderBy = 3;             // degC; healing goes roughly with temperature between 5 and 30 degC (Anderson & Roberts 1975)
constexpr double kBedShift = 0.15;          // shares: about sqrt 2 times the median error of a share

std::string percent(double value) { return fixed_text(value, std::abs(value) < 10 ? 1 : 0); }

/// "38 % smaller (32 to 44)"; low and high in the same direction as the words.
std::string change_words(const Estimate& e) {
  const bool smaller = e.value <= 0;
  const double sign = smaller ? -1 : 1;
  const double a = sign * (smaller ? e.high95 : e.low95), b = sign * (smaller ? e.low95 : e.high95);
  return percent(sign * e.value) + " % " + (smaller ? "smaller" : "larger") + " (95 %: " + percent(a) + " to " + percent(b) + ")";
}

std::string span_words(double days) {
  if (days < 1.5 && days >= 0.5) return "1 day";
  return fixed_text(days, days < 1 ? 1 : 0) + " days";
}

std::string rate_words(const Estimate& e) {
  return fixed_text(e.value, 1) + " % a day (" + fixed_text(e.low95, 1) + " to " + fixed_text(e.high95, 1) + ")";
}

/// "closing 2.3 % a day (1.8 to 2.8)", or both ends when the sign is not told.
std::string trend_words(const Estimate& e) {
  if (e.low95 < 0 && e.high95 > 0) return "between " + fixed_text(-e.low95, 1) + " % a day enlarging and " + fixed_text(e.high95, 1) + " % a day closing";
  const double sign = e.value < 0 ? -1 : 1;
  const double a = sign * e.low95, b = sign * e.high95;
  return std::string(sign < 0 ? "enlarging " : "closing ") + fixed_text(sign * e.value, 1) + " % a day (" + fixed_text(std::min(a, b), 1) + " to " + fixed_text(std::max(a, b), 1) + ")";
}

bool is_treatment(const CareEvent& event) {
  static const std::vector<std::string> kinds{"cleaning", "debridement", "topical", "injection", "sealing", "water change", "salt"};
  return std::find(kinds.begin(), kinds.end(), lower_ascii(trim(event.kind))) != kinds.end();
}

Estimate closing_rate(const Mixture& m) { return {-100 * m.mean(), 100 * std::sqrt(m.variance()), -100 * m.quantile(0.975), -100 * m.quantile(0.025), m.dof()}; }

void water_reasons(Working& work) {
  Course& course = work.course;
  const double from = course.looks[course.baseline].date.days(), to = course.looks[course.last].date.days();
  std::vector<Reading> water = work.series.water;
  std::stable_sort(water.begin(), water.end(), [](const auto& a, const auto& b) { return a.date.days() < b.date.days(); });
  // The largest fall from an earlier reading to one that is not made good later in the course.
  double best = kColderBy - 1e-9;
  const Reading *warm = nullptr, *cold = nullptr;
  const Reading* warmest = nullptr;
  for (const auto& reading : water) {
    if (reading.date.days() < from - 3 || reading.date.days() > to + 1) continue;
    if (!warmest || reading.water_c > warmest->water_c) warmest = &reading;
    if (warmest->water_c - reading.water_c > best) {
      best = warmest->water_c - reading.water_c;
      warm = warmest;
      cold = &reading;
    }
  }
  if (cold)
    course.reasons.push_back("water fell from " + fixed_text(warm->water_c, 0) + " to " + fixed_text(cold->water_c, 0) + " \u00b0C by " + cold->date.iso_date() +
                             ": slower healing is expected");
  if (course.rate_percent_per_degree_day && cold)
    course.reasons.push_back("per 100 degree-days (base " + fixed_text(work.options.degree_day_base_c, 0) + " \u00b0C) the closing rate was " +
                             fixed_text(100 * course.rate_percent_per_degree_day->value, 0) + " % (" + fixed_text(100 * course.rate_percent_per_degree_day->low95, 0) + " to " +
                             fixed_text(100 * course.rate_percent_per_degree_day->high95, 0) + ")");
}

void bed_reasons(Working& work) {
  Course& course = work.course;
  const auto &a = course.looks[course.baseline], &b = course.looks[course.last];
  if (!a.bed || !b.bed || course.baseline == course.last) return;
  for (const auto tissue : {bed::Tissue::granulation, bed::Tissue::slough, bed::Tissue::necrotic, bed::Tissue::pale}) {
    const auto t = static_cast<std::size_t>(tissue);
    const double before = (*a.bed)[t], after = (*b.bed)[t];
    if (std::abs(after - before) < kBedShift) continue;
    static const char* names[] = {"granulation", "slough", "necrotic tissue", "pale tissue"};
    course.reasons.push_back(std::string(names[t]) + (after > before ? " up from " : " down from ") + fixed_text(100 * before, 0) + " to " + fixed_text(100 * after, 0) + " % of the wound");
  }
}

void doubt_reasons(Working& work) {
  Course& course = work.course;
  for (std::size_t i = 0; i < course.looks.size(); ++i) {
    if (!course.doubtful[i]) continue;
    const auto& look = course.looks[i];
    // What its neighbours lead to expect, by a straight line in ln A between them.
    double before = -1, after = -1, expected = 0;
    int ib = -1, ia = -1;
    for (int j = 0; j < static_cast<int>(course.looks.size()); ++j) {
      if (course.doubtful[j] || course.segment[j] != course.segment[i] || course.looks[j].area_mm2 <= 0) continue;
      if (j < static_cast<int>(i)) before = course.looks[ib = j].area_mm2;
      else if (ia < 0) after = course.looks[ia = j].area_mm2;
    }
    if (ib >= 0 && ia >= 0) expected = std::exp(std::log(before) + (std::log(after) - std::log(before)) * (course.days[i] - course.days[ib]) / (course.days[ia] - course.days[ib]));
    else expected = ib >= 0 ? before : after;
    const double off = 100 * (look.area_mm2 / expected - 1);
    std::string text = "the measure of " + look.date.iso_date() + " does not fit the others (" + fixed_text(std::abs(off), 0) + " % " + (off > 0 ? "larger" : "smaller") +
                       " than " + (ib >= 0 && ia >= 0 ? "its neighbours lead to expect" : ib >= 0 ? "the one before" : "the one after") + ") and is left out: check its scale and margin";
    if (static_cast<int>(i) > course.last) text += "; if they are right the wound has changed suddenly: look again soon";
    course.reasons.push_back(text);
    course.warnings.push_back({"doubtful", "the measure of " + look.date.iso_date() + " does not fit the others and is left out of the estimates; check its scale and margin"});
  }
}

}  // namespace

const char* words(Verdict verdict) {
  switch (verdict) {
    case Verdict::closing: return "closing";
    case Verdict::no_detectable_change: return "no detectable change";
    case Verdict::enlarging: return "enlarging";
    case Verdict::closed: return "closed";
    case Verdict::too_soon: return "too soon to tell";
  }
  return "";
}

void find_rate_changes(Working& work) {
  Course& course = work.course;
  for (const auto& event : work.series.events) {
    if (!is_treatment(event)) continue;
    const double day = event.date.days() - course.looks.front().date.days();
    // Within a day of a look counts as at it.
    int before = 0, after = 0;
    for (const auto& p : work.trend_points) {
      if (p.day <= day + 1) ++before;
      if (p.day >= day - 1) ++after;
    }
    if (before < 2 || after < 2 || static_cast<int>(work.trend_points.size()) < 4) continue;
    // Each side needs a pair of looks within one segment.
    const auto rates = rates_around(work.trend_points, day, work.trend.spread);
    const auto told = [](const Mixture& m) { return std::sqrt(m.variance()) < 0.2; };  // else the prior's own width shows: nothing on that side
    if (!told(rates.before) || !told(rates.after)) continue;
    course.rate_changes.push_back({event, closing_rate(rates.before), closing_rate(rates.after), closing_rate(rates.difference)});
  }
}

void judge(Working& work) {
  Course& course = work.course;
  const auto& options = work.options;
  const Look& newest = course.looks.back();
  const auto set = [&](Verdict v) { course.verdict = v; };
  if (counts_as_closed(newest, options)) return set(Verdict::closed);
  if (work.open_debridement || course.last != static_cast<int>(course.looks.size()) - 1) return set(Verdict::too_soon);
  if (course.baseline == course.last) return set(Verdict::too_soon);
  bool was_closed = false;
  for (int i = course.baseline; i < course.last; ++i) was_closed = was_closed || (!course.doubtful[i] && course.looks[i].area_mm2 <= options.closed_mm2);
  if (was_closed && newest.area_mm2 - 1.96 * std::max(newest.u_mm2, 0.1 * newest.area_mm2) > options.closed_mm2) return set(Verdict::enlarging);
  if (course.span_days < 0.5 || work.trend.rate.parts.empty()) return set(Verdict::too_soon);
  // The line must point the way the looks it speaks of went.
  const int start = std::max(course.baseline, course.change_at);
  const bool smaller = newest.area_mm2 < course.looks[start].area_mm2;
  const double down = work.trend.net.below(0);
  // The point of change was picked by the same looks, so more is asked of what follows it.
  const double sure = work.trend.accepted_break ? kSureAfterBreak : work.points.size() == 2 ? kSureOfTwo : kSure;
  if (down >= sure && smaller) return set(Verdict::closing);
  if (1 - down >= sure && !smaller) return set(Verdict::enlarging);
  // Unmoved is a statement too: it needs looks that rule a real change out, and a baseline and last look that agree.
  const bool apart = course.change_percent && (course.change_percent->low95 > 0 || course.change_percent->high95 < 0);
  const bool ruled_out = work.trend.net.quantile(0.025) > std::log(1 - kBlind) && work.trend.net.quantile(0.975) < -std::log(1 - kBlind);
  set(work.trend.accepted_break || (ruled_out && !apart) ? Verdict::no_detectable_change : Verdict::too_soon);
}

void explain(Working& work) {
  Course& course = work.course;
  auto& reasons = course.reasons;
  const Look &first = course.looks[course.baseline], &newest = course.looks.back();
  const std::string detectable = percent(course.detectable_change_percent) + " %";
  if (course.verdict == Verdict::closed)
    reasons.push_back(newest.area_mm2 <= work.options.closed_mm2 ? "an area of " + number_text(newest.area_mm2) + " mm2 counts as closed (at most " + number_text(work.options.closed_mm2) + " mm2)"
                                                                 : "the area of " + number_text(newest.area_mm2) + " mm2 cannot be told from nothing");
  if (course.change_percent) {
    reasons.push_back(change_words(*course.change_percent) + " in " + span_words(course.span_days) + ", since " + first.date.iso_date());
    if (course.change_percent->low95 <= 0 && course.change_percent->high95 >= 0 && course.verdict != Verdict::closed)
      reasons.push_back("a change below " + detectable + " cannot be told from noise between two measures like these");
  } else if (course.baseline == course.last) {
    reasons.push_back(course.looks.size() == 1 ? "one measure so far; a change needs a second" : "one measure since the baseline of " + first.date.iso_date() + "; a change needs a second");
  }
  if (course.verdict == Verdict::too_soon && course.change_percent && !work.open_debridement && course.last == static_cast<int>(course.looks.size()) - 1) {
    const bool apart = course.change_percent->low95 > 0 || course.change_percent->high95 < 0;
    reasons.push_back(course.span_days < 0.5 ? "the measures are less than half a day apart"
                      : !apart               ? "a change by a quarter could still be hidden in the noise"
                      : work.points.size() == 2 ? "with two measures a bad one cannot be told from a change of this size; a third will tell"
                                                : "the last measure differs from the baseline, but the trend through all of them is not sure yet");
  }
  if (course.advance_mm_per_day && course.verdict != Verdict::closed)
    reasons.push_back("the margin advanced " + fixed_text(course.advance_mm_per_day->value, 2) + " mm a day (" + fixed_text(course.advance_mm_per_day->low95, 2) + " to " +
                      fixed_text(course.advance_mm_per_day->high95, 2) + ")");
  if (course.change_at > course.baseline && course.trend_percent_per_day) {
    const double after = course.trend_percent_per_day->value, before = -100 * work.trend.rate_before.mean();
    const std::string date = course.looks[course.change_at].date.iso_date();
    reasons.push_back(course.verdict == Verdict::no_detectable_change ? "since " + date + " no change is told any more; before it the area went " + std::string(before > 0 ? "down" : "up") + " by " + fixed_text(std::abs(before), 1) + " % a day"
                                                                      : "the rate changed about " + date + ": " + (before >= 0 ? "closing " : "enlarging ") + fixed_text(std::abs(before), 1) + " % a day before, " + (after >= 0 ? "closing " : "enlarging ") + fixed_text(std::abs(after), 1) + " % a day since");
  } else if (course.change_percent && course.trend_percent_per_day && work.points.size() > 2) {
    reasons.push_back("the trend through " + std::to_string(work.points.size()) + " measures: " + trend_words(*course.trend_percent_per_day));
  }
  const int looks_since = course.last - course.baseline;
  if (course.change_last_percent && looks_since > 1) reasons.push_back("since the visit before: " + change_words(*course.change_last_percent));
  if (course.segment.back() > 0)
    reasons.push_back("the baseline restarts at " + first.date.iso_date() + " after a debridement; the enlargement it made is not counted as a set-back");
  for (const auto& date : work.unmeasured_debridements)
    reasons.push_back("a measure after the debridement of " + date.iso_date() + " is missing: measure before the next change can be told");
  doubt_reasons(work);
  bed_reasons(work);
  water_reasons(work);
  if (!course.rate_changes.empty()) {
    const auto& change = course.rate_changes.back();
    reasons.push_back("around the " + change.event.kind + " of " + change.event.date.iso_date() + ": closing rate " + rate_words(change.before) + " before, " + rate_words(change.after) +
                      " after" + (change.difference.low95 <= 0 && change.difference.high95 >= 0 ? "; the difference is within noise" : "; what came after need not have come from it"));
  }
  if (course.closure)
    reasons.push_back("if it goes on like this it closes between " + course.closure->earliest.iso_date() + " and " + course.closure->latest.iso_date() + "; wounds often slow down late, and the range does not foresee that");
  else if (course.verdict == Verdict::closing)
    reasons.push_back(looks_since + 1 < 3 ? "no closure date is stated from fewer than three measures" : "no closure date is stated: the pace is not known well enough yet");
  // What to look at next; never what to do.
  if (course.verdict == Verdict::enlarging) reasons.push_back("look next at: the margin and the bed on the photo, the water, and the result of a swab if one was taken");
  if (course.verdict == Verdict::no_detectable_change || (course.verdict == Verdict::too_soon && course.change_percent)) reasons.push_back("look next at: a further measure; several photos at one visit narrow the interval");
}

}  // namespace uroko::healing
