#include <cmath>
#include <nlohmann/json.hpp>
#include <set>

#include "uroko/base/file.h"
#include "uroko/base/text.h"
#include "uroko/report/export.h"

namespace uroko::report {
namespace {

using json = nlohmann::ordered_json;

// RFC 9562 version 8 (custom): the first 122 free bits of a SHA-256 over what the resource is.
std::string uuid_of(const std::string& what) {
  std::string h = sha256_hex("uroko fhir " + what).substr(0, 32);
  h[12] = '8';
  h[16] = "89ab"[(h[16] >= 'a' ? h[16] - 'a' + 10 : h[16] - '0') & 3];
  return h.substr(0, 8) + "-" + h.substr(8, 4) + "-" + h.substr(12, 4) + "-" + h.substr(16, 4) + "-" + h.substr(20);
}

// A dateTime with a time needs an offset (R4, datatypes): without one the date alone is stated.
std::string date_time(const DateTime& date) { return date.has_time && date.utc_offset_min ? date.iso() : date.iso_date(); }

json quantity(double value, const char* unit) { return {{"value", value}, {"unit", unit}, {"system", "http://unitsofmeasure.org"}, {"code", unit}}; }

// FHIR strings are not empty and hold no control characters but tab, CR and LF.
void put_text(json& object, const char* key, const std::string& text) {
  std::string clean;
  for (char c : text)
    if (static_cast<unsigned char>(c) >= 0x20) clean += c;
  if (clean = trim(clean); !clean.empty()) object[key] = clean;
}

void add_entry(json& entries, std::set<std::string>& seen, json resource) {
  const std::string id = resource["id"];
  if (seen.insert(id).second) entries.push_back({{"fullUrl", "urn:uuid:" + id}, {"resource", std::move(resource)}});
}

}  // namespace

std::string fhir_bundle(const casebook::Book& book) {
  json entries = json::array();
  std::set<std::string> seen;
  for (const auto& f : book.everything()) {
    const std::string fish_id = uuid_of("fish\n" + f.fish.name);
    json patient{{"resourceType", "Patient"}, {"id", fish_id}};
    // http://hl7.org/fhir/R4/extension-patient-animal.html; the species in words, for no code system is open to all.
    patient["extension"] =
        json::array({{{"url", "http://hl7.org/fhir/StructureDefinition/patient-animal"},
                      {"extension", json::array({{{"url", "species"}, {"valueCodeableConcept", {{"text", "Koi (Cyprinus carpio)"}}}}})}}});
    json name;
    put_text(name, "text", f.fish.name);
    if (!name.empty()) patient["name"] = json::array({name});
    add_entry(entries, seen, patient);
    for (const auto& w : f.wounds) {
      const std::string wound_key = "wound\n" + f.fish.name + "\n" + w.wound.name, wound_id = uuid_of(wound_key);
      json structure{{"resourceType", "BodyStructure"}, {"id", wound_id}, {"morphology", {{"text", "Ulcer of the skin"}}}};
      json location;
      put_text(location, "text", w.wound.side + (w.wound.side.empty() ? "" : " ") + w.wound.site);
      if (!location.empty()) structure["location"] = location;
      put_text(structure, "description", w.wound.name);
      structure["patient"] = {{"reference", "urn:uuid:" + fish_id}};
      add_entry(entries, seen, structure);
      for (const auto& v : w.visits)
        for (const auto& p : v.photos) {
          const auto m = book.latest_measure(p.id);
          if (!m) continue;
          const auto observation = [&](const char* loinc, const char* display, double value, const char* unit, bool interval) {
            if (!(std::isfinite(value) && value >= 0)) return;
            json o{{"resourceType", "Observation"},
                   {"id", uuid_of(wound_key + "\n" + p.sha256 + "\n" + loinc)},
                   {"status", m->revision > 1 ? "amended" : "final"}};
            o["code"] = {{"coding", json::array({{{"system", "http://loinc.org"}, {"code", loinc}, {"display", display}}})}};
            o["subject"] = {{"reference", "urn:uuid:" + fish_id}};
            o["focus"] = json::array({{{"reference", "urn:uuid:" + wound_id}}});
            o["effectiveDateTime"] = date_time(v.visit.date);
            o["valueQuantity"] = quantity(value, unit);
            json site;
            put_text(site, "text", w.wound.side + (w.wound.side.empty() ? "" : " ") + w.wound.site);
            if (!site.empty()) o["bodySite"] = site;
            o["method"] = {{"text", "Photo planimetry with a scale reference in frame"}};
            if (interval)
              o["component"] = json::array({{{"code", {{"text", "Lower end of the 95 % interval"}}}, {"valueQuantity", quantity(m->low95, unit)}},
                                            {{"code", {{"text", "Upper end of the 95 % interval"}}}, {"valueQuantity", quantity(m->high95, unit)}}});
            add_entry(entries, seen, std::move(o));
          };
          observation("89260-4", "Area of wound", m->area_mm2, "mm2", true);
          observation("39126-8", "Length of wound", m->length_mm, "mm", false);
          observation("39125-0", "Width of wound", m->width_mm, "mm", false);
        }
    }
  }
  json bundle{{"resourceType", "Bundle"}, {"type", "collection"}};
  if (!entries.empty()) bundle["entry"] = std::move(entries);
  return bundle.dump(1, ' ', false, json::error_handler_t::replace) + "\n";
}

}  // namespace uroko::report
