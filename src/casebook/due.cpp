#include "uroko/casebook/due.h"

#include <algorithm>
#include <cmath>
#include <unordered_map>

#include "casebook/tables.h"
#include "uroko/base/text.h"

namespace uroko::casebook {

namespace {

/// `start` plus hours. Without a time of day only whole days count, rounded up: a dose is never called early.
DateTime later_by(const DateTime& start, double hours) {
  if (!start.has_time) return DateTime::from_day_number(start.day_number() + static_cast<long>(std::ceil(hours / 24 - 1e-9)));
  const auto minutes = static_cast<long>(start.hour) * 60 + start.minute + std::lround(hours * 60);
  auto out = DateTime::from_day_number(start.day_number() + minutes / 1440);
  out.has_time = true;
  out.hour = static_cast<int>(minutes % 1440 / 60);
  out.minute = static_cast<int>(minutes % 60);
  return out;
}

DueItem::State state_at(const DateTime& now, const DateTime& from, const DateTime& until) {
  const auto reached = [&](const DateTime& t) { return t.has_time && now.has_time ? !before(now, t) : now.day_number() >= t.day_number(); };
  if (!reached(from)) return DueItem::State::later;
  return now.day_number() > until.day_number() ? DueItem::State::overdue : DueItem::State::due;
}

struct Names {
  std::string fish, wound;
  Id fish_id = 0;
};

DateTime date_in(const Database& database, const Value& cell) {
  DateTime date;
  if (!from_value(cell, date)) throw Error(Fault::book, "damaged", database.file(), "a date in it cannot be read", "run uroko book check; restore the latest backup");
  return date;
}

}  // namespace

const char* name(DueItem::Kind kind) {
  switch (kind) {
    case DueItem::Kind::recheck: return "recheck";
    case DueItem::Kind::agreed_look: return "agreed look";
    case DueItem::Kind::swab_result: return "swab result";
    case DueItem::Kind::injection: return "next dose";
  }
  return "";
}

const char* name(DueItem::State state) {
  switch (state) {
    case DueItem::State::later: return "later";
    case DueItem::State::due: return "due";
    case DueItem::State::overdue: return "overdue";
  }
  return "";
}

std::vector<DueItem> due(const Book& book, const DateTime& now, double ahead_days) {
  const auto& db = book.database();
  std::vector<DueItem> out;
  std::unordered_map<Id, std::string> fish;
  db.each("SELECT id, name FROM fish WHERE trashed IS NULL", "it", {}, [&](const Values& row) { fish[std::get<long long>(row[0])] = std::get<std::string>(row[1]); });
  std::unordered_map<Id, Names> open_wounds;
  std::unordered_map<Id, std::vector<Id>> wounds_of;
  std::unordered_map<Id, std::string> wound_names;
  db.each("SELECT id, fish, name, closed FROM wound WHERE trashed IS NULL ORDER BY id", "iitt", {}, [&](const Values& row) {
    const auto id = std::get<long long>(row[0]), of = std::get<long long>(row[1]);
    const auto known = fish.find(of);
    if (known == fish.end()) return;
    wound_names[id] = std::get<std::string>(row[2]);
    if (std::holds_alternative<std::string>(row[3])) return;
    open_wounds[id] = {known->second, std::get<std::string>(row[2]), of};
    wounds_of[of].push_back(id);
  });

  // Last look of each fish, and the next one agreed then.
  struct Last {
    DateTime date;
    Id visit = 0;
    std::optional<DateTime> agreed;
  };
  std::unordered_map<Id, Last> last_look;
  db.each("SELECT fish, id, date, next_look FROM visit WHERE trashed IS NULL ORDER BY date, id", "iitt", {}, [&](const Values& row) {
    Last last{date_in(db, row[2]), std::get<long long>(row[1]), {}};
    if (std::holds_alternative<std::string>(row[3])) last.agreed = date_in(db, row[3]);
    last_look[std::get<long long>(row[0])] = last;
  });

  const auto add = [&](DueItem item) {
    item.state = state_at(now, item.from, item.until);
    if (item.state == DueItem::State::later && static_cast<double>(item.from.day_number() - now.day_number()) > ahead_days) return;
    out.push_back(std::move(item));
  };

  // Rechecks: the last treatment of an open wound (or of its whole fish) that no later look has followed.
  const double from_days = book.setting(kRecheckFromDays, 2), to_days = std::max(from_days, book.setting(kRecheckToDays, 3));
  std::unordered_map<Id, std::pair<DateTime, std::string>> treated;
  db.each("SELECT fish, wound, date, kind FROM event WHERE trashed IS NULL AND kind IN ('cleaning', 'debridement', 'topical', 'injection', 'sealing') ORDER BY date, id", "iitt", {},
          [&](const Values& row) {
            const auto date = date_in(db, row[2]);
            const auto note = [&](Id wound) { treated[wound] = {date, std::get<std::string>(row[3])}; };
            if (const auto* wound = std::get_if<long long>(&row[1])) return note(*wound);
            if (const auto all = wounds_of.find(std::get<long long>(row[0])); all != wounds_of.end())
              for (const Id wound : all->second) note(wound);
          });
  for (const auto& [wound, treatment] : treated) {
    const auto open = open_wounds.find(wound);
    if (open == open_wounds.end()) continue;
    const auto& [date, kind] = treatment;
    const auto look = last_look.find(open->second.fish_id);
    if (look != last_look.end() && look->second.date.day_number() > date.day_number()) continue;
    DueItem item;
    item.kind = DueItem::Kind::recheck;
    item.fish = open->second.fish_id, item.wound = wound;
    item.fish_name = open->second.fish, item.wound_name = open->second.wound;
    item.from = DateTime::from_day_number(date.day_number() + std::lround(from_days));
    item.until = DateTime::from_day_number(date.day_number() + std::lround(to_days));
    item.text = "recheck " + number_text(from_days) + " to " + number_text(to_days) + " days after " + kind + " of " + date.iso_date();
    add(std::move(item));
  }
  for (const auto& [id, last] : last_look) {
    if (!last.agreed || !fish.contains(id) || last.agreed->day_number() <= last.date.day_number()) continue;
    DueItem item;
    item.kind = DueItem::Kind::agreed_look;
    item.fish = id, item.source = last.visit;
    item.fish_name = fish[id];
    item.from = item.until = *last.agreed;
    item.text = "look agreed on " + last.date.iso_date();
    add(std::move(item));
  }

  const double swab_hours = book.setting(kSwabHours, 48);
  for (const auto& swab : select<Swab>(db, "WHERE t.trashed IS NULL AND t.reported IS NULL")) {
    if (!fish.contains(swab.fish)) continue;
    DueItem item;
    item.kind = DueItem::Kind::swab_result;
    item.fish = swab.fish, item.wound = swab.wound.value_or(0), item.source = swab.id;
    item.fish_name = fish[swab.fish];
    if (swab.wound) item.wound_name = wound_names[*swab.wound];
    item.from = later_by(swab.sent.value_or(swab.taken), swab_hours);
    item.until = DateTime::from_day_number(item.from.day_number() + 1);
    item.text = "result of the swab " + std::string(swab.sent ? "sent " : "taken ") + swab.sent.value_or(swab.taken).iso_date() +
                (swab.laboratory.empty() ? "" : " to " + swab.laboratory) + ", about " + number_text(swab_hours) + " h";
    add(std::move(item));
  }

  struct Given {
    long long count = 0;
    DateTime last;
  };
  std::unordered_map<Id, Given> given;
  db.each("SELECT prescription, COUNT(*), MAX(date) FROM event WHERE prescription IS NOT NULL AND trashed IS NULL GROUP BY prescription", "iit", {},
          [&](const Values& row) { given[std::get<long long>(row[0])] = {std::get<long long>(row[1]), date_in(db, row[2])}; });
  for (const auto& written : select<Prescription>(db, "WHERE t.trashed IS NULL AND t.stopped IS NULL")) {
    if (!fish.contains(written.fish)) continue;
    const auto so_far = given.contains(written.id) ? given[written.id] : Given{};
    if (written.doses && so_far.count >= *written.doses) continue;
    if (so_far.count > 0 && !written.interval_hours) continue;
    DueItem item;
    item.kind = DueItem::Kind::injection;
    item.fish = written.fish, item.wound = written.wound.value_or(0), item.source = written.id;
    item.fish_name = fish[written.fish];
    if (written.wound) item.wound_name = wound_names[*written.wound];
    item.from = so_far.count ? later_by(so_far.last, *written.interval_hours) : written.written;
    item.until = item.from;
    item.text = "dose " + std::to_string(so_far.count + 1) + (written.doses ? " of " + std::to_string(*written.doses) : "") + " of " + written.drug +
                " as prescribed on " + written.written.iso_date() + (written.prescriber.empty() ? "" : " by " + written.prescriber) +
                (so_far.count ? ", every " + number_text(*written.interval_hours) + " h, last given " + so_far.last.iso() : "");
    add(std::move(item));
  }
  std::sort(out.begin(), out.end(), [](const auto& a, const auto& b) {
    if (a.state != b.state) return a.state > b.state;
    if (a.until.day_number() != b.until.day_number()) return a.until.day_number() < b.until.day_number();
    if (a.fish_name != b.fish_name) return a.fish_name < b.fish_name;
    if (a.wound_name != b.wound_name) return a.wound_name < b.wound_name;
    return std::pair(a.kind, a.source) < std::pair(b.kind, b.source);
  });
  return out;
}

}  // namespace uroko::casebook
