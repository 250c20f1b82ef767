#include <algorithm>
#include <array>
#include <cmath>
#include <nlohmann/json.hpp>

#include "bed/light.h"
#include "bed/pixels.h"
#include "uroko/base/median.h"
#include "uroko/bed/bed.h"

namespace uroko::bed {

namespace {

constexpr std::array<const char*, kTissues> kNames = {"granulation", "slough", "necrotic", "pale", "unsure", "glare"};

nlohmann::json as_json(const GlareOptions& g) {
  return {{"seed_value", g.seed_value},   {"seed_saturation", g.seed_saturation}, {"seed_above", g.seed_above}, {"grow_value", g.grow_value},
          {"grow_saturation", g.grow_saturation}, {"grow_above", g.grow_above},   {"most_share", g.most_share}};
}

}  // namespace

const char* name(Tissue tissue) { return kNames[static_cast<std::size_t>(tissue)]; }

const Thresholds& default_thresholds() {
  static const Thresholds thresholds = [] {
    Thresholds t;
    using enum Tissue;
    // The middle between a fit to dry scenes and what version 2 had (assets/guide/bed.md).
    t.colours = {
        {granulation, {38.6, 49, 30}, 0.133, 11.1, 0.778}, {granulation, {22.9, 41.5, 26.4}, 0.159, 7.35, 0.456},
        {granulation, {49.7, 34.2, 24.8}, 0.091, 4.17, 0.853}, {granulation, {55.9, 19.4, 28}, 0.075, 3.22, 0.66},
        {slough, {76.7, 2.4, 37.6}, 0.09, 7.15, 0.3}, {slough, {83.4, -0.8, 21.4}, 0.097, 5.95, 0.252},
        {slough, {62, 14.1, 29.4}, 0.105, 3.74, 0.155}, {necrotic, {18.1, 5.2, 6}, 0.18, 6.06, 0.412},
        {necrotic, {24.9, 14.5, 15.1}, 0.101, 5.22, 0.854}, {necrotic, {12, 1, 1}, 0.18, 5, 0.2},
        {necrotic, {39.5, 5.2, 13.8}, 0.081, 5.15, 1.254}, {pale, {73, 21.5, 13.3}, 0.092, 4.27, 0.591},
        {pale, {59.1, 25.6, 9.8}, 0.109, 4.63, 0.113}, {pale, {83.9, 12.3, 5.8}, 0.078, 5.65, 0.241},
    };
    return t;
  }();
  return thresholds;
}

std::string Thresholds::why_invalid() const {
  if (colours.empty()) return "no colours";
  for (const auto& c : colours) {
    if (c.tissue == Tissue::unsure || c.tissue == Tissue::glare) return "a colour of a tissue that is none";
    if (!(c.mean.l >= 0 && c.mean.l <= 150 && std::abs(c.mean.a) <= 200 && std::abs(c.mean.b) <= 200)) return "a colour outside Lab";
    if (!(c.light >= 0 && c.light <= 2 && c.spread >= 0.5 && c.spread <= 100)) return "a colour's light or spread out of range";
    if (!(c.weight > 0 && c.weight <= 1000)) return "a weight out of range";
  }
  if (!(least_posterior >= 0 && least_posterior < 1)) return "least_posterior must be in 0..1";
  if (!(gate > 0 && gate <= 100)) return "gate must be in 0..100";
  if (median_px < 1 || median_px > 15 || median_px % 2 == 0) return "median_px must be odd, 1 to 15";
  if (!(glint_mm >= 0 && glint_mm <= 10)) return "glint_mm must be 0 to 10";
  if (!(sheen == 0 || (sheen >= 1e-4 && sheen <= 1))) return "sheen must be 0, or 0.0001 to 1";
  if (!(film >= 0 && film <= 1)) return "film must be 0 to 1";
  if (!(neighbours >= 0 && neighbours <= 20)) return "neighbours must be 0 to 20";
  if (seam_px < 0 || seam_px > 20) return "seam_px must be 0 to 20";
  const auto byte = [](double v) { return v >= 0 && v <= 255; };
  if (!(byte(glare.seed_value) && byte(glare.seed_saturation) && byte(glare.seed_above) && byte(glare.grow_value) && byte(glare.grow_saturation) &&
        byte(glare.grow_above) && glare.most_share >= 0 && glare.most_share <= 1))
    return "a glare threshold out of range";
  return {};
}

std::string to_json(const Thresholds& t) {
  nlohmann::json colours = nlohmann::json::array();
  for (const auto& c : t.colours)
    colours.push_back({{"tissue", name(c.tissue)}, {"lab", {c.mean.l, c.mean.a, c.mean.b}}, {"light", c.light}, {"spread", c.spread}, {"weight", c.weight}});
  return nlohmann::json{{"version", 3},
                        {"colours", colours},
                        {"least_posterior", t.least_posterior},
                        {"gate", t.gate},
                        {"neighbours", t.neighbours},
                        {"seam_px", t.seam_px},
                        {"median_px", t.median_px},
                        {"glint_mm", t.glint_mm},
                        {"sheen", t.sheen},
                        {"film", t.film},
                        {"glare", as_json(t.glare)}}
      .dump();
}

Result<Thresholds> thresholds_from_json(std::string_view text) {
  const auto refused = [](const std::string& why) { return Refusal{"thresholds", "the tissue thresholds cannot be used: " + why, "use the default thresholds"}; };
  try {
    const auto json = nlohmann::json::parse(text);
    const int version = json.at("version");
    if (version < 1 || version > 3) return refused("they are of a newer version");
    Thresholds t;
    for (const auto& c : json.at("colours")) {
      const auto found = std::find(kNames.begin(), kNames.end(), c.at("tissue").get<std::string>());
      if (found == kNames.end()) return refused("an unknown tissue");
      const auto& lab = c.at("lab");
      t.colours.push_back({static_cast<Tissue>(found - kNames.begin()), {lab.at(0), lab.at(1), lab.at(2)}, c.at("light"), c.at("spread"), c.at("weight")});
    }
    t.least_posterior = json.at("least_posterior");
    t.gate = json.at("gate");
    t.neighbours = json.at("neighbours");
    t.seam_px = json.at("seam_px");
    t.median_px = json.at("median_px");
    t.glint_mm = version == 1 ? 0 : json.at("glint_mm").get<double>();
    t.sheen = version == 1 ? 0 : json.at("sheen").get<double>();
    t.film = version < 3 ? 0 : json.at("film").get<double>();
    const auto& g = json.at("glare");
    t.glare = {g.at("seed_value"), g.at("seed_saturation"), g.at("seed_above"), g.at("grow_value"), g.at("grow_saturation"), g.at("grow_above"), g.at("most_share")};
    if (const auto why = t.why_invalid(); !why.empty()) return refused(why);
    return t;
  } catch (const nlohmann::json::exception&) {
    return refused("they are not what uroko writes");
  }
}

Thresholds with_examples(const Thresholds& base, const cv::Mat& bgr, const WhiteBalance& balance, const std::vector<Example>& examples, double px_per_mm) {
  Thresholds out = base;
  for (const auto& example : examples) {
    if (example.tissue == Tissue::unsure || example.tissue == Tissue::glare) continue;
    if (!(example.at.x >= 0 && example.at.y >= 0 && example.at.x < bgr.cols && example.at.y < bgr.rows)) continue;
    const int r = std::max(1, static_cast<int>(std::lround(example.radius_px)));
    const cv::Rect around = cv::Rect(static_cast<int>(std::lround(example.at.x)) - r, static_cast<int>(std::lround(example.at.y)) - r, 2 * r + 1, 2 * r + 1) &
                            cv::Rect(0, 0, bgr.cols, bgr.rows);
    if (around.empty()) continue;
    std::array<std::vector<float>, 3> values;
    cv::Mat lab;
    if (base.glint_mm > 0) {
      // As it is seen when tissue is told, but for the sheen, which is the whole wound's; with room for the widest glint round about.
      auto seen = base;
      seen.sheen = 0;
      const int room = glint_px(seen, px_per_mm) + 8;
      const cv::Rect wider = cv::Rect(around.x - room, around.y - room, around.width + 2 * room, around.height + 2 * room) & cv::Rect(0, 0, bgr.cols, bgr.rows);
      lab = tissue_lab(bgr(wider), cv::Mat(wider.size(), CV_8U, cv::Scalar(255)), balance, seen, px_per_mm)(around - wider.tl());
    } else {
      lab = lab_image(bgr(around), balance);
    }
    for (int y = 0; y < lab.rows; ++y)
      for (int x = 0; x < lab.cols; ++x)
        if (std::hypot(around.x + x - example.at.x, around.y + y - example.at.y) <= example.radius_px + 0.5)
          for (std::size_t c = 0; c < 3; ++c) values[c].push_back(lab.at<cv::Vec3f>(y, x)[static_cast<int>(c)]);
    if (values[0].empty()) continue;
    TissueColour picked{example.tissue, {median(values[0]), median(values[1]), median(values[2])}, 0.08, 5, 2};
    // What was said wins over a colour of another tissue that sits in the same place.
    std::erase_if(out.colours, [&](const TissueColour& c) {
      const double apart = std::hypot(std::hypot(c.mean.l - picked.mean.l, c.mean.a - picked.mean.a), c.mean.b - picked.mean.b);
      const bool last = std::count_if(out.colours.begin(), out.colours.end(), [&](const TissueColour& o) { return o.tissue == c.tissue; }) <= 1;
      return apart < (c.tissue == picked.tissue ? 3.0 : 8.0) && !(last && c.tissue != picked.tissue);
    });
    out.colours.push_back(picked);
  }
  return out;
}

}  // namespace uroko::bed
