#include "app/unfinished.h"

#include <algorithm>
#include <array>
#include <exception>
#include <limits>
#include <nlohmann/json.hpp>
#include <utility>

#include "app/kept_json.h"
#include "uroko/base/file.h"
#include "uroko/base/json.h"

namespace uroko::app {

namespace fs = std::filesystem;

namespace {

constexpr std::size_t kSteps = 40;

nlohmann::json step_json(const History<Work>::Step& step, const scale::PlaneMap* map_before) {
  nlohmann::json json = {{"label", step.label}};
  const auto& w = step.state;
  if (w.choice) json["choice"] = to_json(*w.choice);
  if (w.lens.by != LensChoice::By::itself) json["lens"] = to_json(w.lens);
  if (w.map && w.map.get() != map_before) json["map"] = to_json(*w.map);
  if (w.map) json["has_map"] = true;
  if (w.margin) json["margin"] = to_json(*w.margin);
  if (w.grey) json["grey"] = {w.grey->x, w.grey->y};
  if (w.body) {
    json["body"] = {w.body->depth_mm, w.body->width_mm};
    if (w.body->midline) json["midline"] = {w.body->midline->first.x, w.body->midline->first.y, w.body->midline->second.x, w.body->midline->second.y};
  }
  for (const auto& t : w.earlier) json["earlier"].push_back(to_json(*t));
  return json;
}

/// `map`: of the step before; the step's own afterwards.
History<Work>::Step step_from(const nlohmann::json& json, std::shared_ptr<const scale::PlaneMap>& map) {
  History<Work>::Step s;
  s.label = json.value("label", std::string());
  if (json.contains("choice")) s.state.choice = choice_from(json["choice"]);
  if (json.contains("lens")) s.state.lens = lens_from(json["lens"]);
  if (json.contains("map"))
    if (const auto read = map_from(json["map"])) map = std::make_shared<scale::PlaneMap>(*read);
  if (json.value("has_map", false)) s.state.map = map;
  if (json.contains("margin")) s.state.margin = std::make_shared<margin::Margin>(margin_from(json["margin"]));
  if (json.contains("grey")) s.state.grey = ImagePoint{json["grey"].at(0).get<double>(), json["grey"].at(1).get<double>()};
  if (json.contains("body")) {
    s.state.body = measure::Body{json["body"].at(0).get<double>(), json["body"].at(1).get<double>(), std::nullopt};
    if (json.contains("midline")) {
      const auto m = json["midline"].get<std::array<double, 4>>();
      s.state.body->midline = {{m[0], m[1]}, {m[2], m[3]}};
    }
  }
  for (const auto& trace : json.value("earlier", nlohmann::json::array())) s.state.earlier.push_back(std::make_shared<margin::Margin>(margin_from(trace)));
  return s;
}

}  // namespace

UnfinishedTrace unfinished_trace(const Desk& desk, const fs::path& book) {
  UnfinishedTrace t;
  t.file = fs::absolute(desk.file);
  if (!book.empty()) t.book = fs::absolute(book);
  t.place = desk.place;
  const auto& steps = desk.history.steps();
  const std::size_t first = steps.size() > kSteps ? std::min(steps.size() - kSteps, desk.history.at()) : 0;
  t.steps.assign(steps.begin() + static_cast<std::ptrdiff_t>(first), steps.end());
  t.at = desk.history.at() - first;
  if (desk.accepted)
    if (const auto place = desk.history.place_of(*desk.accepted); place && *place >= first) t.accepted = *place - first;
  return t;
}

std::string unfinished_text(const UnfinishedTrace& t) {
  nlohmann::json json = {{"file", t.file.string()}, {"book", t.book.string()}, {"place", {t.place.fish, t.place.wound, t.place.visit, t.place.photo}}, {"at", t.at}};
  if (t.accepted) json["accepted_at"] = *t.accepted;
  const scale::PlaneMap* before = nullptr;
  for (const auto& step : t.steps) {
    json["steps"].push_back(step_json(step, before));
    before = step.state.map.get();
  }
  return json.dump();
}

std::optional<UnfinishedTrace> read_unfinished(const fs::path& file) {
  std::error_code ignored;
  if (!fs::exists(file, ignored)) return std::nullopt;
  try {
    const auto json = nlohmann::json::parse(read_file(file, std::size_t{64} << 20));
    UnfinishedTrace t;
    t.file = json.value("file", std::string());
    t.book = json.value("book", std::string());
    const auto id = [&](std::size_t i) { return whole_number<std::int64_t>(json.at("place").at(i), 0, std::numeric_limits<std::int64_t>::max()); };
    t.place = {id(0), id(1), id(2), id(3)};
    std::shared_ptr<const scale::PlaneMap> map;
    for (const auto& step : json.at("steps")) t.steps.push_back(step_from(step, map));
    if (json.contains("at")) t.at = whole_number<std::size_t>(json["at"], 0, t.steps.size());
    if (t.at >= t.steps.size()) return std::nullopt;
    if (json.contains("accepted_at")) {
      const auto accepted = whole_number<std::size_t>(json["accepted_at"], 0, t.steps.size());
      if (accepted < t.steps.size()) t.accepted = accepted;
    }
    return t;
  } catch (const std::exception&) {
    return std::nullopt;
  }
}

}  // namespace uroko::app
