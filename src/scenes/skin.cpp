#include "skin.h"

#include <algorithm>
#include <cmath>

#include "field.h"

namespace uroko::scenes {

namespace {

double channel(int v) {
  const double x = v / 255.0;
  return x <= 0.04045 ? x / 12.92 : std::pow((x + 0.055) / 1.055, 2.4);
}

Rgb mix(const Rgb& a, const Rgb& b, double share) { return a + (b - a) * share; }

/// The value below which `share` of the samples lie.
double quantile(std::vector<double> samples, double share) {
  if (samples.empty()) return 0;
  const auto at = std::min(samples.size() - 1, static_cast<std::size_t>(std::max(0.0, share) * static_cast<double>(samples.size())));
  std::nth_element(samples.begin(), samples.begin() + static_cast<std::ptrdiff_t>(at), samples.end());
  return samples[at];
}

std::uint32_t seed32(std::uint64_t seed, std::uint32_t salt) { return static_cast<std::uint32_t>(seed * 2654435761u) + salt; }

}  // namespace

Rgb linear_rgb(int r, int g, int b) { return {channel(r), channel(g), channel(b)}; }

Skin::Skin(const Scene& scene, bool looks) : scene_(scene) {
  if (scene.ulcer)
    for (const auto& p : margin(*scene.ulcer, 360)) reach_ = std::max(reach_, std::hypot(p.x - scene.ulcer->centre.x, p.s - scene.ulcer->centre.s));
  if (!looks) return;
  const auto& coat = scene.coat;
  std::vector<double> red, black;
  for (int i = 0; i < 70; ++i)
    for (int j = 0; j < 70; ++j) {
      const double x = (i - 35) * 9.7, s = (j - 35) * 7.3;
      red.push_back(octaves(x / 75, s / 75, seed32(coat.seed, 1), 3));
      black.push_back(octaves(x / 45, s / 45, seed32(coat.seed, 2), 3));
    }
  red_from_ = quantile(std::move(red), 1 - coat.red);
  black_from_ = quantile(std::move(black), 1 - coat.black);
  if (coat.red <= 0) red_from_ = 1e9;
  if (coat.black <= 0) black_from_ = 1e9;

  if (!scene.ulcer) return;
  const auto& u = *scene.ulcer;
  // Thresholds one after the other, each over what the one before left, so that the shares come out as asked.
  std::vector<BedFields> fields;
  each_inside(20000, [&](const SkinPoint& p, double l) { fields.push_back(bed_fields(p, l)); });
  const auto cut = [&](double BedFields::*field, double share, bool low) {
    std::vector<double> values;
    values.reserve(fields.size());
    for (const auto& f : fields) values.push_back(f.*field);
    const double at = quantile(values, low ? share : 1 - share);
    std::erase_if(fields, [&](const auto& f) { return low ? f.*field < at : f.*field >= at; });
    return at;
  };
  if (u.pale > 0) pale_below_ = cut(&BedFields::pale, u.pale, true);
  if (u.necrotic > 0) necrotic_from_ = cut(&BedFields::necrotic, u.necrotic / std::max(1e-9, 1 - u.pale), false);
  if (u.slough > 0) slough_from_ = cut(&BedFields::slough, u.slough / std::max(1e-9, 1 - u.pale - u.necrotic), false);
}

template <class F>
void Skin::each_inside(int points, F&& f) const {
  const auto& u = *scene_.ulcer;
  const double step = std::sqrt(scenes::area_mm2(u) / points);
  const int n = static_cast<int>(reach_ / step) + 1;
  for (int j = -n; j <= n; ++j)
    for (int i = -n; i <= n; ++i) {
      const SkinPoint p{u.centre.x + i * step, u.centre.s + j * step};
      const double l = level(u, p);
      if (l < 1) f(p, l);
    }
}

Skin::BedFields Skin::bed_fields(const SkinPoint& p, double l) const {
  const auto& u = *scene_.ulcer;
  // The bed's patches grow with the wound, down to about 2 mm.
  const double grain = std::max(2.0, 0.42 * u.radius_mm);
  const double x = (p.x - u.centre.x) / grain, s = (p.s - u.centre.s) / grain;
  return {(1 - l) + 0.22 * octaves(x * 1.3, s * 1.3, seed32(u.seed, 21), 3), octaves(x, s, seed32(u.seed, 22), 3) + 0.25 * (l - 0.5),
          octaves(x * 0.8, s * 0.8, seed32(u.seed, 23), 4) + 0.3 * (0.55 - std::abs(l - 0.45))};
}

bed::Tissue Skin::tissue(const SkinPoint& p) const {
  const auto f = bed_fields(p, level(*scene_.ulcer, p));
  if (f.pale < pale_below_) return bed::Tissue::pale;
  if (f.necrotic >= necrotic_from_) return bed::Tissue::necrotic;
  if (f.slough >= slough_from_) return bed::Tissue::slough;
  return bed::Tissue::granulation;
}

std::array<double, bed::kTissues> Skin::shares(int points) const {
  std::array<double, bed::kTissues> count{};
  double all = 0;
  each_inside(points, [&](const SkinPoint& p, double) {
    count[static_cast<std::size_t>(tissue(p))] += 1;
    all += 1;
  });
  for (auto& c : count) c = all > 0 ? c / all : 0;
  return count;
}

Surface Skin::coat(const SkinPoint& p, double calm) const {
  const auto& coat = scene_.coat;
  const std::uint32_t seed = seed32(coat.seed, 5);
  // Imbricate scales: staggered rows, each scale a disc whose free edge points to the tail; the scale nearer the head lies on top.
  const double pitch = coat.scale_pitch_mm, row = 0.56 * pitch, radius = 0.66 * pitch, squeeze = 0.94;
  const double wave = 0.9 * field(p.x / 60, p.s / 60, seed + 1), wave_s = 0.9 * field(p.x / 60, p.s / 60, seed + 2);
  const double px = p.x + wave, ps = p.s + wave_s;
  const auto j0 = static_cast<int>(std::lround(ps / row));
  double top_x = 1e9, top_cs = 0, edge = 0, dx = 0, ds = 0, under = 1e9;
  int id_i = 0, id_j = 0;
  struct Candidate {
    double cx, cs, d;
    int i, j;
  } near[20];
  int n = 0;
  for (int j = j0 - 2; j <= j0 + 2; ++j) {
    const double shift = (j & 1) ? pitch / 2 : 0;
    const auto i0 = static_cast<int>(std::floor((px - shift) / pitch));
    for (int i = i0 - 0; i <= i0 + 1; ++i) {
      const double jx = 0.07 * pitch * (cell_random(i, j, seed) - 0.5), js = 0.07 * pitch * (cell_random(i, j, seed + 9) - 0.5);
      const double cx = i * pitch + shift + jx, cs = j * row + js;
      const double d = std::hypot(px - cx, (ps - cs) * squeeze);
      near[n++] = {cx, cs, d, i, j};
    }
  }
  for (int k = 0; k < n; ++k)
    if (near[k].d < radius && near[k].cx < top_x) {
      top_x = near[k].cx, top_cs = near[k].cs, edge = 1 - near[k].d / radius;
      dx = (px - near[k].cx) / radius, ds = (ps - near[k].cs) / radius, id_i = near[k].i, id_j = near[k].j;
    }
  for (int k = 0; k < n; ++k)
    if (near[k].cx < top_x - 1e-9) under = std::min(under, near[k].d / radius - 1);
  const double centre_x = top_x < 1e8 ? top_x + 0.3 * pitch : px, centre_s = top_x < 1e8 ? top_cs : ps;

  // The pattern's edge follows whole scales in part, as on a fish.
  const auto soft = [&](double length, std::uint32_t salt, double from, double width) {
    const double whole = octaves(centre_x / length, centre_s / length, seed32(coat.seed, salt), 3);
    const double point = octaves(px / length, ps / length, seed32(coat.seed, salt), 3);
    return step_between(from - width, from + width, 0.65 * whole + 0.35 * point + 0.02 * field(px / 0.8, ps / 0.8, seed + 31));
  };
  const double red = soft(75, 1, red_from_, 0.035), black = soft(45, 2, black_from_, 0.025);
  const double scale_tone = cell_random(id_i, id_j, seed + 4) - 0.5;
  Surface out;
  static const Rgb kWhite = linear_rgb(233, 226, 212), kRed = linear_rgb(208, 74, 32), kBlack = linear_rgb(44, 46, 52),
                   kPink = linear_rgb(229, 196, 182);
  Rgb ground = mix(kWhite, kPink, 0.35 + 0.5 * octaves(px / 28, ps / 28, seed + 6, 2));
  ground *= 1 + 0.05 * scale_tone;
  Rgb hi = kRed * (1 + 0.28 * scale_tone + 0.25 * octaves(px / 14, ps / 14, seed + 7, 2));
  out.albedo = mix(mix(ground, hi, red), kBlack, black * 0.96);
  // Pigment cells.
  out.albedo *= 1 + (0.05 + 0.10 * red) * field(px / 0.35, ps / 0.35, seed + 8) + 0.05 * field(px / 0.9, ps / 0.9, seed + 18);
  // Free edge: a thin lighter border, a fine dark line at the very edge, shade under the scale on top, growth rings.
  const double rim = step_between(0.16, 0.03, edge), line = step_between(0.045, 0.0, edge), shade = std::exp(-std::max(0.0, under) / 0.09);
  const double rings = std::sin(edge * 95 + 2 * scale_tone) * step_between(0.1, 0.3, edge) * step_between(0.75, 0.5, edge);
  out.albedo *= 1 + calm * (0.10 * rim - 0.30 * line - (0.20 + 0.12 * red) * shade + 0.018 * rings);
  // The lateral line: a pore in each scale of one row.
  if (std::abs(id_j) == 0 && top_x < 1e8) out.albedo *= 1 - 0.45 * calm * step_between(0.09, 0.02, std::hypot(dx - 0.45, (ds)*2.2));
  // Domed scales under a film of mucus.
  const double dome = 0.16 * calm;
  out.slope_x = dome * dx + 0.5 * calm * line * dx + 0.09 * field(px / 9, ps / 9, seed + 12) + 0.035 * field(px / 1.6, ps / 1.6, seed + 13);
  out.slope_s = dome * ds + 0.5 * calm * line * ds + 0.09 * field(px / 9, ps / 9, seed + 14) + 0.035 * field(px / 1.6, ps / 1.6, seed + 15);
  return out;
}

Surface Skin::bed(const SkinPoint& p, double l) const {
  const auto& u = *scene_.ulcer;
  const auto f = bed_fields(p, l);
  const std::uint32_t seed = seed32(u.seed, 40);
  const double x = p.x, s = p.s;
  const double band = 0.13;
  const double pale = pale_below_ < -1e8 ? 0 : step_between(pale_below_ + band, pale_below_ - band, f.pale);
  const double necrotic = necrotic_from_ > 1e8 ? 0 : step_between(necrotic_from_ - band / 2, necrotic_from_ + band / 2, f.necrotic);
  const double slough = slough_from_ > 1e8 ? 0 : step_between(slough_from_ - band, slough_from_ + band, f.slough);

  const double bumps = field(x / 0.9, s / 0.9, seed + 1) + 0.6 * field(x / 0.42, s / 0.42, seed + 2);
  static const Rgb kGranulation = linear_rgb(166, 38, 36), kDeep = linear_rgb(112, 20, 24), kSlough = linear_rgb(196, 168, 108),
                   kCream = linear_rgb(214, 198, 156), kNecrotic = linear_rgb(58, 42, 36), kBrown = linear_rgb(92, 62, 42),
                   kPale = linear_rgb(220, 158, 148);
  Rgb red = mix(kGranulation, kDeep, 0.5 + 0.5 * octaves(x / 3.1, s / 3.1, seed + 3, 3)) * (1 + 0.22 * bumps);
  // Slough is stringy.
  const double strings = octaves((x + 0.6 * s + 0.8 * field(x / 2.5, s / 2.5, seed + 10)) / 0.6, (s - 0.6 * x) / 2.4, seed + 4, 3);
  const Rgb yellow = mix(kSlough, kCream, 0.5 + 0.55 * strings) * (1 + 0.10 * field(x / 0.5, s / 0.5, seed + 5));
  const Rgb dark = mix(kNecrotic, kBrown, 0.5 + 0.6 * octaves(x / 1.2, s / 1.2, seed + 6, 2));
  const Rgb pink = kPale * (1 + 0.07 * field(x / 0.8, s / 0.8, seed + 7));
  Surface out;
  // Slough thins out: red shows through where it is thin, and a haze of fibrin lies on the rest.
  const double haze = 0.10 + 0.10 * octaves(x / 1.7, s / 1.7, seed + 9, 2);
  out.albedo = mix(mix(red, kCream * 0.8, haze), yellow, std::clamp(slough * (0.86 + 0.3 * strings), 0.0, 0.95));
  out.albedo = mix(out.albedo, dark, necrotic);
  out.albedo = mix(out.albedo, pink, 0.9 * pale);
  // The bed lies below the edge: its wall is steep over the first millimetre and shaded.
  const double inward_mm = (1 - l) * u.radius_mm, wall = std::exp(-inward_mm / 0.7);
  out.albedo *= 1 - 0.38 * wall * std::min(1.0, u.depth_mm);
  const double e = 0.15, tall = 0.22 * (1 - 0.6 * slough - 0.6 * pale);
  out.slope_x = tall * (field((x + e) / 0.9, s / 0.9, seed + 1) - field((x - e) / 0.9, s / 0.9, seed + 1)) / (2 * e) * 0.6;
  out.slope_s = tall * (field(x / 0.9, (s + e) / 0.9, seed + 1) - field(x / 0.9, (s - e) / 0.9, seed + 1)) / (2 * e) * 0.6;
  const double rx = (p.x - u.centre.x) / u.radius_mm, rs = (p.s - u.centre.s) / u.radius_mm;
  out.slope_x += 0.5 * u.depth_mm * wall * rx + 0.10 * field(x / 5, s / 5, seed + 11);
  out.slope_s += 0.5 * u.depth_mm * wall * rs + 0.10 * field(x / 5, s / 5, seed + 12);
  out.gloss = 1.1;
  out.roughness = 1.4;
  return out;
}

Surface Skin::at(const SkinPoint& p) const {
  if (!scene_.ulcer) return coat(p, 1);
  const auto& u = *scene_.ulcer;
  const double away = std::hypot(p.x - u.centre.x, p.s - u.centre.s);
  if (away > reach_ + 6 * u.rim_mm) return coat(p, 1);
  const double l = level(u, p);
  if (l < 1) return bed(p, l);
  const double outward_mm = (l - 1) * u.radius_mm;
  // Near the edge the scales are lost or lifted; the skin is reddened outward and has a thin pale lip.
  const double calm = step_between(0.15 * u.rim_mm, 0.9 * u.rim_mm + 0.6, outward_mm + 0.5 * u.rim_mm * field(p.x / 4, p.s / 4, seed32(u.seed, 60)));
  Surface out = coat(p, calm);
  static const Rgb kReddened = linear_rgb(188, 66, 58), kLip = linear_rgb(226, 200, 186);
  const double patchy = 1 + 0.55 * octaves(p.x / 4.5, p.s / 4.5, seed32(u.seed, 61), 3);
  const double reddening = u.rim_strength * std::min(1.0, std::exp(-outward_mm / (0.8 * u.rim_mm)) * patchy);
  const Rgb stained = kReddened.cwiseProduct(Rgb(1, 1, 1) * (0.35 + 0.65 * out.albedo.sum() / 2.2));
  out.albedo = mix(out.albedo, stained, std::clamp(reddening, 0.0, 1.0));
  const double lip = std::exp(-std::pow((outward_mm - 0.35) / 0.35, 2)) * (0.55 + 0.35 * field(p.x / 2.2, p.s / 2.2, seed32(u.seed, 62)));
  out.albedo = mix(out.albedo, kLip, std::clamp(lip, 0.0, 1.0));
  const double swell = 0.25 * std::exp(-outward_mm / 1.2);
  out.slope_x += swell * (p.x - u.centre.x) / u.radius_mm;
  out.slope_s += swell * (p.s - u.centre.s) / u.radius_mm;
  return out;
}

}  // namespace uroko::scenes
