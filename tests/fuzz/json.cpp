// JSON that people and other programs hand in: lens profiles, tissue thresholds, kept scale choices and plane maps. The first byte says which.
#include <nlohmann/json.hpp>

#include "app/kept_json.h"
#include "scratch.h"
#include "uroko/base/error.h"
#include "uroko/bed/bed.h"
#include "uroko/scale/lens.h"

using namespace uroko;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size == 0) return 0;
  const std::string text(fuzz::text(data + 1, size - 1));
  switch (data[0] % 4) {
    case 0:
      try {
        const auto profile = scale::lens_profile_from_json(text, "fuzz.json");
        fuzz::must(profile.width_px > 0 && profile.height_px > 0);
        (void)scale::lens_profile_from_json(scale::to_json(profile), "again.json");
        photo::PhotoInfo info;
        info.width_px = profile.width_px;
        info.height_px = profile.height_px;
        std::vector<Warning> warnings;
        (void)scale::camera_from_profile(profile, info, warnings);
      } catch (const Error& e) {
        fuzz::must(e.fault() == Fault::input);
      }
      break;
    case 1:
      if (const auto thresholds = bed::thresholds_from_json(text)) fuzz::must(bed::thresholds_from_json(bed::to_json(*thresholds)).ok());
      break;
    case 2:
    case 3: {
      const auto json = nlohmann::json::parse(text, nullptr, false);
      if (json.is_discarded()) break;
      if (data[0] % 4 == 2) {
        if (const auto choice = app::choice_from(json)) fuzz::must(app::choice_from(app::to_json(*choice)).has_value());
      } else if (const auto map = app::map_from(json)) {
        fuzz::must(app::map_from(app::to_json(*map)).has_value());
      }
      break;
    }
  }
  return 0;
}
