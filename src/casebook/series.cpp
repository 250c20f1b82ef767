// What the lists and the curve need, gathered in a handful of queries.
#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <unordered_map>

#include "casebook/inside.h"

namespace uroko::casebook {

namespace {

/// The columns of a measure that the index measure_glance holds.
struct Glance {
  Id id = 0;
  double area = 0, u = 0, low = 0, high = 0, perimeter = 0;
};

/// The latest measure a photo, of the margin that its wound follows.
std::unordered_map<Id, Glance> latest_measures(const Database& database, const std::string& rest, const Values& arguments) {
  std::unordered_map<Id, Glance> out;
  database.each("SELECT m.photo, m.id, m.area_mm2, m.u_mm2, m.low95, m.high95, m.perimeter_mm FROM photo p JOIN wound w ON w.id = p.wound "
                "JOIN measure m ON m.photo = p.id WHERE m.trashed IS NULL AND (m.traced = '' OR m.traced = w.traced_margin) " + rest,
                "iiddddd", arguments, [&](const Values& row) {
                  const auto number = [&](int k) { return std::holds_alternative<double>(row[k]) ? std::get<double>(row[k]) : std::nan(""); };
                  auto& last = out[std::get<long long>(row[0])];
                  const auto id = std::get<long long>(row[1]);
                  if (id > last.id) last = {id, number(2), number(3), number(4), number(5), number(6)};
                });
  return out;
}

/// Several photos of one look. Their errors share the card and the eye, so their mean is taken to be no surer than one of them, and less sure where they disagree.
Estimate combined(const std::vector<Glance>& measures) {
  if (measures.size() == 1) {
    const auto& one = measures.front();
    return {one.area, one.u, one.low, one.high};
  }
  const double n = static_cast<double>(measures.size());
  double mean = 0, squares = 0, spread = 0;
  for (const auto& m : measures) mean += m.area / n, squares += m.u * m.u / n;
  for (const auto& m : measures) spread += (m.area - mean) * (m.area - mean) / (n - 1);
  const double u = std::max(std::sqrt(squares), std::sqrt(spread / n));
  return area_estimate(mean, u);
}

/// Shares stored with a measure, in the order of bed::Tissue; nothing when they are not there.
std::optional<std::array<double, bed::kTissues>> shares_in(const std::string& text) {
  static const char* const names[bed::kTissues] = {"granulation", "slough", "necrotic", "pale", "unsure", "glare"};
  const auto json = nlohmann::json::parse(text, nullptr, false);
  if (!json.is_object()) return std::nullopt;
  std::array<double, bed::kTissues> out{};
  for (int k = 0; k < bed::kTissues; ++k) {
    const auto tissue = json.find(names[k]);
    if (tissue == json.end() || !tissue->is_object() || !tissue->contains("share") || !(*tissue)["share"].is_number()) return std::nullopt;
    out[static_cast<std::size_t>(k)] = (*tissue)["share"];
  }
  return out;
}

}  // namespace

std::vector<FishSummary> Book::everything() const {
  const auto& db = database();
  std::vector<FishSummary> out;
  std::unordered_map<Id, std::size_t> at_fish;
  for (auto& fish : this->fish()) {
    at_fish[fish.id] = out.size();
    out.push_back({std::move(fish), {}, {}});
  }
  struct Place { std::size_t fish, wound; };
  std::unordered_map<Id, Place> at_wound;
  for (auto& wound : select<Wound>(db, "WHERE t.trashed IS NULL ORDER BY t.name")) {
    const auto fish = at_fish.find(wound.fish);
    if (fish == at_fish.end()) continue;
    auto& wounds = out[fish->second].wounds;
    at_wound[wound.id] = {fish->second, wounds.size()};
    wounds.push_back({std::move(wound), {}});
  }
  std::unordered_map<Id, std::map<Id, std::vector<PhotoRow>>> photos;  // visit -> wound -> photos
  for (auto& photo : select<PhotoRow>(db, "WHERE t.trashed IS NULL ORDER BY t.taken, t.id")) photos[photo.visit][photo.wound].push_back(std::move(photo));
  const auto measures = latest_measures(db, "", {});
  for (const auto& visit : select<Visit>(db, "WHERE t.trashed IS NULL ORDER BY t.date, t.id")) {
    const auto fish = at_fish.find(visit.fish);
    if (fish == at_fish.end()) continue;
    bool shown = false;
    if (auto of_visit = photos.find(visit.id); of_visit != photos.end())
      for (auto& [wound, rows] : of_visit->second) {
        const auto place = at_wound.find(wound);
        if (place == at_wound.end()) continue;
        VisitSummary summary{visit, std::move(rows), std::nullopt};
        std::vector<Glance> found;
        for (const auto& photo : summary.photos)
          if (const auto m = measures.find(photo.id); m != measures.end()) found.push_back(m->second);
        if (!found.empty()) summary.area_mm2 = combined(found);
        out[place->second.fish].wounds[place->second.wound].visits.push_back(std::move(summary));
        shown = true;
      }
    if (!shown) out[fish->second].visits_without_photo.push_back(visit);
  }
  return out;
}

std::vector<WoundGlance> Book::glance() const {
  const auto& db = database();
  std::vector<WoundGlance> out;
  std::unordered_map<Id, std::size_t> at;
  db.each("SELECT f.id, w.id, f.name, w.name, w.closed FROM wound w JOIN fish f ON f.id = w.fish WHERE w.trashed IS NULL AND f.trashed IS NULL ORDER BY f.name, w.name",
          "iittt", {}, [&](const Values& row) {
            WoundGlance g;
            g.fish = std::get<long long>(row[0]), g.wound = std::get<long long>(row[1]);
            g.fish_name = std::get<std::string>(row[2]), g.wound_name = std::get<std::string>(row[3]);
            g.closed = std::holds_alternative<std::string>(row[4]);
            at[g.wound] = out.size();
            out.push_back(std::move(g));
          });
  const auto measures = latest_measures(db, "", {});
  std::unordered_map<Id, std::vector<Glance>> last;  // wound -> measures of its last measured visit
  std::unordered_map<Id, Id> last_visit, last_measured;
  db.each("SELECT p.id, p.wound, v.id, v.date FROM visit v JOIN photo p ON p.visit = v.id WHERE p.trashed IS NULL AND v.trashed IS NULL ORDER BY v.date, v.id", "iiit", {},
          [&](const Values& row) {
            const auto wound = std::get<long long>(row[1]), visit = std::get<long long>(row[2]);
            const auto place = at.find(wound);
            if (place == at.end()) return;
            auto& g = out[place->second];
            ++g.photos;
            if (std::exchange(last_visit[wound], visit) != visit) {
              ++g.visits;
              g.last_visit = DateTime::parse(std::get<std::string>(row[3]));
            }
            const auto m = measures.find(std::get<long long>(row[0]));
            if (m == measures.end()) {
              ++g.unmeasured;
              return;
            }
            if (std::exchange(last_measured[wound], visit) != visit) last[wound].clear();
            last[wound].push_back(m->second);
          });
  for (auto& g : out)
    if (const auto found = last.find(g.wound); found != last.end()) {
      const auto area = combined(found->second);
      g.last_area_mm2 = area.value;
      g.last_u_mm2 = area.u;
    }
  std::stable_sort(out.begin(), out.end(), [](const auto& a, const auto& b) {
    if (a.last_visit.has_value() != b.last_visit.has_value()) return a.last_visit.has_value();
    return a.last_visit && before(*b.last_visit, *a.last_visit);
  });
  return out;
}

healing::Series Book::series_of(Id id) const {
  const auto& db = database();
  const auto wound = find<Wound>(id);
  if (!wound) throw Error(Fault::usage, "no-such-row", db.file(), "there is no such wound", "look at the list again");
  healing::Series series;
  const auto visits = this->visits(wound->fish);
  std::unordered_map<Id, const Visit*> visit_of;
  for (const auto& visit : visits) {
    visit_of[visit.id] = &visit;
    if (visit.water_c) series.water.push_back({visit.date, *visit.water_c});
  }
  const auto events = this->events(wound->fish);
  for (const auto& event : events)
    if (!event.wound || *event.wound == id) series.events.push_back({event.date, event.kind, event.product.empty() ? event.note : event.note.empty() ? event.product : event.product + ": " + event.note});
  for (const auto& swab : swabs(wound->fish))
    if (!swab.wound || *swab.wound == id) series.events.push_back({swab.taken, "swab", swab.laboratory});
  if (const auto fish = find<Fish>(wound->fish); fish && !fish->place.empty())
    for (const auto& reading : water(fish->place)) series.water.push_back({reading.date, reading.water_c});

  // A look: the photos of one visit on the same side of a debridement that day.
  struct Group {
    DateTime date;
    std::vector<Glance> measures;
    std::string bed;
  };
  std::map<std::pair<Id, int>, Group> groups;
  const auto measures = latest_measures(db, "AND p.wound = :wound", {static_cast<long long>(id)});
  std::vector<const healing::CareEvent*> debridements;
  for (const auto& event : series.events)
    if (event.kind == "debridement") debridements.push_back(&event);
  for (const auto& photo : photos(id)) {
    const auto found = measures.find(photo.id);
    const auto visit = visit_of.find(photo.visit);
    if (found == measures.end() || visit == visit_of.end()) continue;
    auto date = visit->second->date;
    if (photo.taken && photo.taken->day_number() == date.day_number() && photo.taken->has_time) date = *photo.taken;
    int side = photo.moment == "before" ? -1 : photo.moment == "after" ? 1 : 0;
    if (side == 0 && date.has_time)
      for (const auto* event : debridements)
        if (event->date.has_time && event->date.day_number() == date.day_number()) side = before(event->date, date) ? 1 : -1;
    auto& group = groups[{photo.visit, side}];
    if (group.measures.empty() || before(date, group.date)) group.date = date;
    group.measures.push_back(found->second);
  }
  for (auto& [key, group] : groups) {
    const auto area = combined(group.measures);
    healing::Look look;
    look.date = group.date;
    look.area_mm2 = area.value;
    look.u_mm2 = area.u;
    for (const auto& m : group.measures) look.perimeter_mm += m.perimeter / static_cast<double>(group.measures.size());
    std::array<double, bed::kTissues> sum{};
    int with_bed = 0;
    for (const auto& m : group.measures) {
      const auto text = db.row("SELECT bed_json FROM measure WHERE id = :id", "t", {static_cast<long long>(m.id)});
      if (!text || !std::holds_alternative<std::string>((*text)[0])) continue;
      if (const auto shares = shares_in(std::get<std::string>((*text)[0]))) {
        ++with_bed;
        for (std::size_t k = 0; k < sum.size(); ++k) sum[k] += (*shares)[k];
      }
    }
    if (with_bed) {
      for (auto& s : sum) s /= with_bed;
      look.bed = sum;
    }
    series.looks.push_back(look);
  }
  std::stable_sort(series.looks.begin(), series.looks.end(), [](const auto& a, const auto& b) { return before(a.date, b.date); });
  return series;
}

}  // namespace uroko::casebook
