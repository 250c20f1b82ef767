#include <nlohmann/json.hpp>

#include "uroko/measure/budget.h"
#include "uroko/measure/one_photo.h"

namespace uroko::measure {

using nlohmann::json;

json to_json(const Estimate& e) { return {{"value", e.value}, {"u", e.u}, {"low95", e.low95}, {"high95", e.high95}}; }

namespace {

json budget_json(const Measurement& m) {
  json out = json::array();
  for (const auto& line : m.budget) {
    const auto& words = words_of(line.source);
    out.push_back({{"source", line.source}, {"u_mm2", line.u_mm2}, {"share", share_of(line, m.budget)}, {"means", words.means}, {"reduce", words.reduce}});
  }
  return out;
}

void add_warnings(json& to, const std::vector<Warning>& warnings) {
  for (const auto& w : warnings) to.push_back({{"code", w.code}, {"text", w.text}});
}

}  // namespace

json to_json(const PhotoResult& r) {
  const auto& info = r.photo.info;
  json photo = {{"file", info.file.string()}, {"width_px", info.width_px}, {"height_px", info.height_px}, {"sha256", info.sha256}};
  photo["taken"] = info.taken ? json(info.taken->iso()) : json(nullptr);
  photo["taken_from"] = photo::name(info.taken_from);
  json scale = {{"kind", scale::name(r.map.kind)}, {"mm_per_px", r.map.mm_per_px(centroid(r.margin.outline))}, {"rms_px", r.map.rms_px}};
  scale["tilt_deg"] = r.map.tilt_known ? json(r.map.tilt_deg) : json(nullptr);
  if (r.check) scale["check"] = {{"kind", scale::name(r.check->map.kind)}, {"area_mm2", r.check->area_mm2}, {"agrees", r.check->agrees}};
  json margin = {{"from", margin::name(r.margin.from)}, {"wkt", to_wkt(r.margin.outline)}};
  if (r.margin.proposal) margin["proposal"] = true;
  if (!r.measurement.traces_mm2.empty()) margin["traces_mm2"] = r.measurement.traces_mm2;
  json bed = json::object(), warnings = json::array();
  for (int k = 0; k < bed::kTissues; ++k) {
    const auto tissue = static_cast<bed::Tissue>(k);
    const auto& share = r.bed[tissue];
    bed[bed::name(tissue)] = {{"share", share.share}, {"share_u", share.share_u}, {"mm2", share.mm2}, {"mm2_u", share.mm2_u}};
  }
  add_warnings(warnings, r.measurement.warnings);
  add_warnings(warnings, r.bed.warnings);
  return {{"photo", photo},
          {"scale", scale},
          {"margin", margin},
          {"area_mm2", to_json(r.measurement.area_mm2)},
          {"perimeter_mm", to_json(r.measurement.perimeter_mm)},
          {"length_mm", to_json(r.measurement.length_mm)},
          {"width_mm", to_json(r.measurement.width_mm)},
          {"budget", budget_json(r.measurement)},
          {"bed", bed},
          {"warnings", warnings}};
}

json to_json(const VisitResult& visit) {
  const auto& m = visit.measurement;
  json photos = json::array(), warnings = json::array(), date;
  for (const auto& photo : visit.photos) {
    if (date.is_null() && photo.photo.info.taken) date = photo.photo.info.taken->iso_date();
    photos.push_back(to_json(photo));
  }
  add_warnings(warnings, m.warnings);
  return {{"visit", {{"date", date}, {"photos", photos.size()}}},
          {"area_mm2", to_json(m.area_mm2)},
          {"perimeter_mm", to_json(m.perimeter_mm)},
          {"length_mm", to_json(m.length_mm)},
          {"width_mm", to_json(m.width_mm)},
          {"budget", budget_json(m)},
          {"warnings", warnings},
          {"photos", photos}};
}

}  // namespace uroko::measure
