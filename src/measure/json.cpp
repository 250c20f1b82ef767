#include <nlohmann/json.hpp>

#include "uroko/measure/one_photo.h"

namespace uroko::measure {

using nlohmann::json;

json to_json(const Estimate& e) { return {{"value", e.value}, {"u", e.u}, {"low95", e.low95}, {"high95", e.high95}}; }

json to_json(const PhotoResult& r) {
  const auto& info = r.photo.info;
  json photo = {{"file", info.file.string()}, {"width_px", info.width_px}, {"height_px", info.height_px}, {"sha256", info.sha256}};
  photo["taken"] = info.taken ? json(info.taken->iso()) : json(nullptr);
  photo["taken_from"] = photo::name(info.taken_from);
  json scale = {{"kind", scale::name(r.map.kind)}, {"mm_per_px", r.map.mm_per_px(centroid(r.margin.outline))}, {"rms_px", r.map.rms_px}};
  scale["tilt_deg"] = r.map.tilt_known ? json(r.map.tilt_deg) : json(nullptr);
  json margin = {{"from", margin::name(r.margin.from)}, {"wkt", to_wkt(r.margin.outline)}};
  if (r.margin.proposal) margin["proposal"] = true;
  json budget = json::array(), bed = json::object(), warnings = json::array();
  for (const auto& line : r.measurement.budget) budget.push_back({{"source", line.source}, {"u_mm2", line.u_mm2}});
  for (int k = 0; k < bed::kTissues; ++k) {
    const auto tissue = static_cast<bed::Tissue>(k);
    const auto& share = r.bed[tissue];
    bed[bed::name(tissue)] = {{"share", share.share}, {"share_u", share.share_u}, {"mm2", share.mm2}, {"mm2_u", share.mm2_u}};
  }
  for (const auto* list : {&r.measurement.warnings, &r.bed.warnings})
    for (const auto& w : *list) warnings.push_back({{"code", w.code}, {"text", w.text}});
  return {{"photo", photo},
          {"scale", scale},
          {"margin", margin},
          {"area_mm2", to_json(r.measurement.area_mm2)},
          {"perimeter_mm", to_json(r.measurement.perimeter_mm)},
          {"length_mm", to_json(r.measurement.length_mm)},
          {"width_mm", to_json(r.measurement.width_mm)},
          {"budget", budget},
          {"bed", bed},
          {"warnings", warnings}};
}

}  // namespace uroko::measure
