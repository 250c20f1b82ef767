// Simulated courses of known truth against what healing::follow says of them; prints Markdown tables and fails when a target is missed.
// ctest: --short
//
// bench_healing [--short] [--courses N] [--seed S]; from 2000 courses on the targets are held to without allowance for chance.
#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <functional>
#include <map>
#include <numbers>
#include <string>
#include <vector>

#include "uroko/base/random.h"
#include "uroko/healing/series.h"

using namespace uroko;
using namespace uroko::healing;

namespace {

constexpr double kPi = std::numbers::pi;
constexpr double kClosed = 0.5;   // mm2, CourseOptions::closed_mm2
constexpr double kAlpha = 0.005;  // one-sided, of the ideal test at one look: the verdict's own

enum class Kind { fixed, linear, exponential, delayed, stalled, relapsing };
const char* name(Kind kind) {
  static const char* names[] = {"static", "linear", "exponential", "delayed", "stalled", "relapsing"};
  return names[static_cast<int>(kind)];
}

/// What the wound really does. Time runs slower in colder water (rate in proportion to temperature, Anderson & Roberts 1975).
struct Truth {
  Kind kind = Kind::fixed;
  bool even = false;      // even margin advance, else exponential
  double area0 = 300, advance = 0.1, k = 0.03, turn = 1e9, relapse = 0.02;
  double cold_from = 1e9, cold_factor = 1;
  double debrided_at = 1e9, enlarged = 1;
  double shape = 4;       // perimeter / sqrt area

  double warm_days(double from, double to) const {
    if (to <= from) return 0;
    const double warm = std::max(0.0, std::min(to, cold_from) - from);
    return warm + (to - from - warm) * cold_factor;
  }
  double run(double area, double from, double to) const {
    const double start = kind == Kind::delayed ? turn : 0, stop = kind == Kind::stalled || kind == Kind::relapsing ? turn : 1e9;
    const double days = kind == Kind::fixed ? 0 : warm_days(std::max(from, start), std::min(to, stop));
    if (even) {
      const double root = std::sqrt(area) - advance * shape / 2 * days;  // d sqrt A / dt = -c/2 x advance
      area = root > 0 ? root * root : 0;
    } else {
      area *= std::exp(-k * days);
    }
    if (kind == Kind::relapsing) area *= std::exp(relapse * std::max(0.0, to - std::max(from, turn)));
    return area;
  }
  double area(double day, bool after_debridement = true) const {
    if (day < debrided_at || (day == debrided_at && !after_debridement)) return run(area0, 0, day);
    return run(run(area0, 0, debrided_at) * enlarged, debrided_at, day);
  }
  double perimeter(double a) const { return shape * std::sqrt(a); }
  /// Day on which the area falls to kClosed; infinity when it does not within ten years.
  double closes(double from) const {
    if (kind == Kind::fixed || kind == Kind::stalled || kind == Kind::relapsing) return INFINITY;
    double low = from, high = from + 3650;
    if (area(high) > kClosed) return INFINITY;
    for (int i = 0; i < 60; ++i) (area((low + high) / 2) > kClosed ? low : high) = (low + high) / 2;
    return high;
  }
};

struct Noise {
  double cv = 0.06;            // whole relative standard deviation of one measure
  double common_share = 0.2;   // of the variance: the same for all looks of the course
  double hidden_share = 0.2;   // of the variance: between visits, not in the measures' own u
  double own() const { return cv * std::sqrt(1 - common_share - hidden_share); }
};

struct Simulated {
  Truth truth;
  Noise noise;
  std::vector<double> day;
  std::vector<double> area;    // true, one a look
  std::vector<bool> after;     // a look after the debridement of the same day
  Series series;
  std::vector<double> ruler;   // length x width as a practitioner reads them, one a look
  int outlier = -1;
};

struct Plan {
  Kind kind;
  int visits = 6;
  double outlier_chance = 0.1, debridement_chance = 0.25, cold_chance = 0.3;
  double step_low = 3, step_high = 9;
  double turn_low = 0.35, turn_high = 0.65;  // of the span
  bool tell_common = true;                   // u_common_mm2 given
};

DateTime day_date(double day) { return DateTime::from_day_number(20500 + std::lround(day)); }

Simulated simulate(const Plan& plan, Random& random) {
  for (;;) {
    Simulated s;
    auto& t = s.truth;
    t.kind = plan.kind;
    t.even = plan.kind == Kind::linear || (plan.kind != Kind::exponential && random.uniform() < 0.5);
    t.area0 = std::exp(random.uniform(std::log(60.0), std::log(900.0)));
    t.advance = random.uniform(0.04, 0.20);
    t.k = random.uniform(0.015, 0.07);
    t.relapse = random.uniform(0.01, 0.04);
    t.shape = random.uniform(2 * std::sqrt(kPi), 5);
    double day = 0;
    std::vector<double> visits{0};
    while (static_cast<int>(visits.size()) < plan.visits) visits.push_back(day += std::lround(random.uniform(plan.step_low, plan.step_high)));
    const double span = visits.back();
    t.turn = plan.kind == Kind::delayed ? random.uniform(0.1, 0.5) * span : random.uniform(plan.turn_low, plan.turn_high) * span;
    if (random.uniform() < plan.cold_chance) {
      t.cold_from = random.uniform(0.2, 0.8) * span;
      t.cold_factor = 12.0 / 20.0;
    }
    int debrided = -1;
    if (plan.visits >= 5 && random.uniform() < plan.debridement_chance) {
      debrided = 1 + random.index(plan.visits - 3);
      t.debrided_at = visits[debrided];
      t.enlarged = random.uniform(1.1, 1.5);
    }
    s.noise = {random.uniform(0.03, 0.10), random.uniform(0, 0.3), random.uniform(0, 0.3)};
    const double common = random.normal(0, s.noise.cv * std::sqrt(s.noise.common_share));
    const double axis = random.uniform(1, 2.2);  // length : width of the ruler's ellipse
    for (int v = 0; v < plan.visits; ++v) {
      const double water = visits[v] < t.cold_from ? 20 : 12;
      s.series.water.push_back({day_date(visits[v]), water});
      for (int part = 0; part < (v == debrided ? 2 : 1); ++part) {
        const bool after = debrided >= 0 && (v > debrided || part == 1);
        s.day.push_back(visits[v]);
        s.area.push_back(t.area(visits[v], after));
        s.after.push_back(part == 1);
      }
    }
    if (*std::min_element(s.area.begin(), s.area.end()) < 3) continue;  // closed within the course: nothing left to judge
    if (random.uniform() < plan.outlier_chance) s.outlier = random.index(static_cast<int>(s.day.size()));
    for (std::size_t i = 0; i < s.day.size(); ++i) {
      double e = common + random.normal(0, s.noise.cv * std::sqrt(1 - s.noise.common_share));
      double measured = s.area[i] * std::max(0.2, 1 + e);
      if (static_cast<int>(i) == s.outlier) measured *= std::exp((random.uniform() < 0.5 ? -1 : 1) * random.uniform(0.35, 0.8));
      Look look;
      look.date = day_date(s.day[i]);
      if (t.debrided_at == s.day[i]) {  // before and after on one day: the photos carry times
        look.date.has_time = true;
        look.date.hour = s.after[i] ? 11 : 9;
      }
      look.area_mm2 = measured;
      look.u_mm2 = measured * s.noise.cv * std::sqrt(1 - s.noise.hidden_share);
      look.u_common_mm2 = plan.tell_common ? measured * s.noise.cv * std::sqrt(s.noise.common_share) : 0;
      look.perimeter_mm = t.perimeter(measured) * (1 + random.normal(0, 0.01));
      s.series.looks.push_back(look);
      const double width = 2 * std::sqrt(s.area[i] / kPi / axis), length = width * axis;
      const auto read = [&](double mm) { return std::max(1.0, std::round(mm * (1 + random.normal(0, 0.05)) + random.normal(0, 0.5))); };
      s.ruler.push_back(read(length) * read(width));
    }
    if (debrided >= 0) {
      auto at = day_date(t.debrided_at);
      at.has_time = true;
      at.hour = 10;
      s.series.events.push_back({at, "debridement", ""});
    }
    return s;
  }
}

/// The series as it stood after its first `looks` looks.
Series until(const Simulated& s, std::size_t looks) {
  Series out;
  out.looks.assign(s.series.looks.begin(), s.series.looks.begin() + static_cast<std::ptrdiff_t>(looks));
  const double last = out.looks.back().date.days();
  for (const auto& w : s.series.water)
    if (w.date.days() <= last) out.water.push_back(w);
  for (const auto& e : s.series.events)
    if (e.date.days() <= last) out.events.push_back(e);
  return out;
}

double normal_below(double z) { return 0.5 * std::erfc(-z / std::numbers::sqrt2); }

/// Power of the best test there is for this course: it knows the true shape and the true noise (Neyman & Pearson: the matched filter), each segment's
/// level free, one-sided kAlpha. No test that does not know them can see more at the same rate of false alarms.
double ideal_power(const Simulated& s, std::size_t looks) {
  double energy = 0;
  for (int segment = 0; segment < 2; ++segment) {
    std::vector<double> y;
    for (std::size_t i = 0; i < looks; ++i) {
      const bool second = s.day[i] > s.truth.debrided_at || s.after[i];
      if (second == (segment == 1)) y.push_back(std::log(s.area[i]));
    }
    double mean = 0;
    for (const double v : y) mean += v / static_cast<double>(y.size());
    for (const double v : y) energy += (v - mean) * (v - mean);
  }
  const double sigma = s.noise.cv * std::sqrt(1 - s.noise.common_share);
  return normal_below(std::sqrt(energy) / sigma - t_quantile(1 - kAlpha, INFINITY));
}

struct Rate {
  long hit = 0, of = 0;
  void add(bool yes) { hit += yes; ++of; }
  double percent() const { return of ? 100.0 * static_cast<double>(hit) / static_cast<double>(of) : NAN; }
  double u() const { const double p = percent() / 100; return of ? 100 * std::sqrt(p * (1 - p) / static_cast<double>(of)) : NAN; }
};

struct Tally {
  Rate change, advance, change_fine, change_coarse, change_few, change_many, change_odd, closing, unchanged, soon, enlarging, stated, closure, closure_two;
  double ideal_miss = 0;
  std::vector<double> width;
  Rate ruler_says_smaller, named, wrongly_named;
  double ruler_error = 0;
};

bool holds(const std::optional<Estimate>& e, double truth) { return e && e->low95 <= truth && truth <= e->high95; }

std::string cell(const Rate& r) {
  char text[40];
  if (!r.of) return "";
  std::snprintf(text, sizeof text, "%.1f", r.percent());
  return text;
}

bool missed = false;
void target(bool met, const std::string& what) {
  std::printf("- %s: %s\n", met ? "met" : "**MISSED**", what.c_str());
  missed = missed || !met;
}

Tally run_kind(Kind kind, int courses, Random& random, Tally& all, bool tell_common, double outliers) {
  Tally t;
  for (int c = 0; c < courses; ++c) {
    Plan plan{kind};
    plan.visits = 3 + random.index(8);
    plan.tell_common = tell_common;
    plan.outlier_chance = outliers;
    const auto s = simulate(plan, random);
    const auto course = follow(s.series);
    // Course::looks are the simulated looks in order: none are averaged.
    const double a = s.area[course.baseline], b = s.area[course.last], days = s.day[course.last] - s.day[course.baseline];
    if (course.change_percent && days > 0) {
      const double change = 100 * (b / a - 1), advance = (a - b) / ((s.truth.perimeter(a) + s.truth.perimeter(b)) / 2) / days;
      const bool change_held = holds(course.change_percent, change), advance_held = holds(course.advance_mm_per_day, advance);
      for (Tally* to : {&t, &all}) {
        to->change.add(change_held);
        to->advance.add(advance_held);
        (s.noise.cv < 0.065 ? to->change_fine : to->change_coarse).add(change_held);
        (s.day.size() < 6 ? to->change_few : to->change_many).add(change_held);
        if (s.outlier >= 0) to->change_odd.add(change_held);
      }
    }
    t.closing.add(course.verdict == Verdict::closing);
    t.unchanged.add(course.verdict == Verdict::no_detectable_change);
    t.soon.add(course.verdict == Verdict::too_soon);
    t.enlarging.add(course.verdict == Verdict::enlarging);
    t.ideal_miss += (1 - ideal_power(s, s.day.size())) / courses;
    for (std::size_t i = 0; i < course.doubtful.size(); ++i) {
      if (static_cast<int>(i) == s.outlier) t.named.add(course.doubtful[i]), all.named.add(course.doubtful[i]);
      else t.wrongly_named.add(course.doubtful[i]), all.wrongly_named.add(course.doubtful[i]);
    }
    t.stated.add(course.closure.has_value());
    all.stated.add(course.closure.has_value());
    if (course.closure) {
      const double truth = s.truth.closes(s.day.back());
      const double low = course.closure->earliest.days() - day_date(0).days(), high = course.closure->latest.days() - day_date(0).days();
      const bool held = low <= truth && truth <= high + 1;
      t.closure.add(held);
      all.closure.add(held);
      t.width.push_back(high - low);
      all.width.push_back(high - low);
    }
    const auto n = s.ruler.size();
    t.ruler_says_smaller.add(s.ruler[n - 1] < s.ruler[n - 2]);
    t.ruler_error += (s.ruler[n - 1] / s.area[n - 1] - 1) / courses * 100;
  }
  return t;
}

double median(std::vector<double> v) {
  if (v.empty()) return NAN;
  std::nth_element(v.begin(), v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2), v.end());
  return v[v.size() / 2];
}

void estimates_and_verdicts(int courses, Random& random, bool strict) {
  std::printf("## Intervals, verdicts, closure at the last visit\n\n%d courses a row; 3 to 10 visits 3 to 9 days apart, 3 to 10 %% noise, up to 30 %% of its variance common to the course, up to 30 %% not in\n"
              "the measures' own u, a gross error (factor 1.4 to 2.2 either way) in one course of ten, a temperature step in 30 %%, a debridement in 25 %% (of five visits and more).\n\n",
              courses);
  std::printf("| course | change held %% | advance held %% | closing %% | no detectable change %% | ideal test misses %% | too soon %% | enlarging %% | closure stated %% | held %% | median width, d | ruler: smaller than last time %% | ruler L x W over-reads %% |\n"
              "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n");
  Tally all;
  std::map<Kind, Tally> by;
  for (const Kind kind : {Kind::fixed, Kind::linear, Kind::exponential, Kind::delayed, Kind::stalled, Kind::relapsing}) {
    const auto t = by[kind] = run_kind(kind, courses, random, all, true, 0.1);
    std::printf("| %s | %s | %s | %s | %s | %s | %s | %s | %s | %s | %.0f | %s | %.0f |\n", name(kind), cell(t.change).c_str(), cell(t.advance).c_str(), cell(t.closing).c_str(),
                cell(t.unchanged).c_str(), kind == Kind::fixed ? "" : std::to_string(t.ideal_miss * 100).substr(0, 4).c_str(), cell(t.soon).c_str(), cell(t.enlarging).c_str(), cell(t.stated).c_str(), cell(t.closure).c_str(), median(t.width),
                cell(t.ruler_says_smaller).c_str(), t.ruler_error);
    std::fflush(stdout);
  }
  std::printf("| all | %s | %s | | | | | | %s | %s | %.0f | | |\n\n", cell(all.change).c_str(), cell(all.advance).c_str(), cell(all.stated).c_str(), cell(all.closure).c_str(), median(all.width));
  std::printf("Change held, noise below / above 6.5 %%: %s / %s; fewer than six looks / more: %s / %s; courses with a gross error: %s.\n", cell(all.change_fine).c_str(), cell(all.change_coarse).c_str(),
              cell(all.change_few).c_str(), cell(all.change_many).c_str(), cell(all.change_odd).c_str());
  std::printf("Gross errors named: %s %%; good looks named: %.2f %%.\n\n", cell(all.named).c_str(), all.wrongly_named.percent());

  Tally apart, rough;
  for (const Kind kind : {Kind::linear, Kind::exponential, Kind::stalled}) run_kind(kind, courses / 2, random, apart, false, 0.1);
  for (const Kind kind : {Kind::linear, Kind::exponential, Kind::stalled}) run_kind(kind, courses / 2, random, rough, true, 1.0);
  std::printf("The common part not told to the program: change held %s, advance held %s. A gross error in every course: change held %s, named %s.\n\n", cell(apart.change).c_str(),
              cell(apart.advance).c_str(), cell(rough.change).c_str(), cell(rough.named).c_str());

  const double slack = strict ? 0 : 3;  // per cent, about three standard errors of the short form
  const auto within = [&](const Rate& r) { return r.percent() >= 93 - slack * r.u() && r.percent() <= 97 + slack * r.u(); };
  target(within(all.change), "95 % intervals of change hold the truth in 93 to 97 %");
  target(within(all.advance), "95 % intervals of advance hold the truth in 93 to 97 %");
  target(all.closure.percent() >= 90 - slack * all.closure.u(), "closure ranges hold the true date in at least 90 % of the courses in which one is stated");
  for (const Kind kind : {Kind::linear, Kind::exponential, Kind::delayed})
    target(by[kind].unchanged.percent() <= 100 * by[kind].ideal_miss + slack * by[kind].unchanged.u(), std::string("no detectable change of a truly closing wound no more often than the ideal test misses it: ") + name(kind));
  std::printf("\n");
}

void false_alarms(int courses, Random& random, bool strict) {
  std::printf("## A wound that does not change, judged at every visit from the second on\n\n| visits | closing ever said %% | enlarging ever said %% | ruler: smaller than last time ever said %% | looks judged no detectable change %% |\n| --- | --- | --- | --- | --- |\n");
  Rate closing_all, enlarging_all;
  for (const int visits : {3, 5, 8, 10}) {
    Rate closing, enlarging, ruler, unchanged;
    for (int c = 0; c < courses; ++c) {
      Plan plan{Kind::fixed};
      plan.visits = visits;
      const auto s = simulate(plan, random);
      bool says_closing = false, says_enlarging = false, ruler_smaller = false;
      for (std::size_t looks = 2; looks <= s.day.size(); ++looks) {
        const auto verdict = follow(until(s, looks)).verdict;
        says_closing = says_closing || verdict == Verdict::closing || verdict == Verdict::closed;
        says_enlarging = says_enlarging || verdict == Verdict::enlarging;
        unchanged.add(verdict == Verdict::no_detectable_change);
        ruler_smaller = ruler_smaller || s.ruler[looks - 1] < s.ruler[looks - 2];
      }
      closing.add(says_closing);
      enlarging.add(says_enlarging);
      ruler.add(ruler_smaller);
      closing_all.add(says_closing);
      enlarging_all.add(says_enlarging);
    }
    std::printf("| %d | %s | %s | %s | %s |\n", visits, cell(closing).c_str(), cell(enlarging).c_str(), cell(ruler).c_str(), cell(unchanged).c_str());
    std::fflush(stdout);
    if (visits == 10) target(closing.percent() < 5 + (strict ? 0 : 3 * closing.u()), "closing said of a static wound in under 5 % of the courses of ten visits");
  }
  std::printf("\n");
}

/// First look from `from` on at which `tells(look)`; -1 when none.
int first_told(std::size_t from, std::size_t looks, const std::function<bool(std::size_t)>& tells) {
  for (std::size_t i = from; i < looks; ++i)
    if (tells(i)) return static_cast<int>(i);
  return -1;
}

void stalls(int courses, Random& random) {
  std::printf("## How soon a stall is told\n\n12 visits 3 to 7 days apart; the wound closes, then stands still from a time between 35 and 50 %% of the course. Told: the first visit after the stall begins at which the rule no longer says it closes.\n"
              "False: of courses that close all the way, those in which the rule, having said it closes, ever says it does not. A stall not told by the last visit counts with the days to the last visit.\n\n");
  struct Rule { std::string name; std::vector<double> delay; Rate told, false_alarm; };
  std::vector<Rule> rules{{"uroko's verdict", {}, {}, {}}, {"ruler L x W, not smaller than last time", {}, {}, {}}, {"ruler L x W, not smaller twice running", {}, {}, {}}, {"ruler L x W, not smaller three times running", {}, {}, {}}, {"ruler L x W, not smaller four times running", {}, {}, {}}};
  for (const bool stalls : {true, false})
    for (int c = 0; c < courses; ++c) {
      Plan plan{stalls ? Kind::stalled : (c % 2 ? Kind::linear : Kind::exponential)};
      plan.visits = 12;
      plan.step_low = 3;
      plan.step_high = 7;
      plan.turn_low = 0.35;
      plan.turn_high = 0.5;
      plan.debridement_chance = plan.cold_chance = 0;
      const auto s = simulate(plan, random);
      const auto looks = s.day.size();
      std::vector<Verdict> verdict(looks, Verdict::too_soon);
      for (std::size_t i = 1; i < looks; ++i) verdict[i] = follow(until(s, i + 1)).verdict;
      const auto not_smaller = [&](std::size_t i, std::size_t times) {
        if (i < times) return false;
        for (std::size_t k = 0; k < times; ++k)
          if (s.ruler[i - k] < s.ruler[i - k - 1]) return false;
        return true;
      };
      for (std::size_t r = 0; r < rules.size(); ++r) {
        const auto tells = [&](std::size_t i) { return r == 0 ? verdict[i] == Verdict::no_detectable_change || verdict[i] == Verdict::enlarging : not_smaller(i, r); };
        if (stalls) {
          std::size_t begin = 0;
          while (s.day[begin] <= s.truth.turn) ++begin;
          if (verdict[begin - 1] != Verdict::closing) continue;  // the same courses for every rule: those in which closing had been told
          const int told = first_told(begin, looks, tells);
          rules[r].told.add(told >= 0);
          rules[r].delay.push_back((told >= 0 ? s.day[told] : s.day.back()) - s.truth.turn);
        } else {
          std::size_t first = 1;
          while (first < looks && verdict[first] != Verdict::closing) ++first;
          if (first == looks) continue;
          rules[r].false_alarm.add(first_told(first, looks, tells) >= 0);
        }
      }
    }
  std::printf("| rule | told by the last visit %% | median days to tell | mean days to tell | false stalls in closing courses %% |\n| --- | --- | --- | --- | --- |\n");
  for (const auto& rule : rules) {
    double mean = 0;
    for (const double d : rule.delay) mean += d / static_cast<double>(rule.delay.size());
    std::printf("| %s | %s | %.0f | %.1f | %s |\n", rule.name.c_str(), cell(rule.told).c_str(), median(rule.delay), mean, cell(rule.false_alarm).c_str());
  }
  std::printf("\n");
}

}  // namespace

int main(int argc, char** argv) {
  int courses = 4000;
  std::uint64_t seed = 20260302;
  bool strict = true;
  for (int i = 1; i < argc; ++i) {
    if (!std::strcmp(argv[i], "--short")) {
      courses = 120;
      strict = false;
    } else if (!std::strcmp(argv[i], "--courses") && i + 1 < argc) {
      courses = std::atoi(argv[++i]);
      strict = courses >= 2000;
    } else if (!std::strcmp(argv[i], "--seed") && i + 1 < argc) {
      seed = std::strtoull(argv[++i], nullptr, 10);
    }
  }
  std::printf("seed %llu\n\n", static_cast<unsigned long long>(seed));
  Random random(seed);
  const auto start = std::chrono::steady_clock::now();
  estimates_and_verdicts(courses, random, strict);
  false_alarms(courses / 2, random, strict);
  stalls(courses / 4, random);
  std::printf("%.0f s\n", std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
  return missed ? 1 : 0;
}
