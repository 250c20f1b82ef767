// Visits laid over each other by the skin's pattern: rendered pairs of known truth, the sample case, strangers. Figures in assets/guide/margins.md.
//   build/release/tests/bench_skin
#include <chrono>
#include <cstdio>

#include "../measure/skin_scenes.h"
#include "uroko/photo/photo.h"
#include "uroko/scale/lens.h"

using namespace uroko;
using namespace uroko::testing;

namespace {

double seconds() { return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count(); }

void tell(const char* what, const SkinVisit& a, const SkinVisit& b, const Result<measure::SkinMatch>& m) {
  if (!m) {
    std::printf("%-34s refused: %s\n", what, m.refusal().code.c_str());
    return;
  }
  const auto e = skin_error(a, b, m->to_from);
  std::printf("%-34s turn %.2f deg (u %.2f)  shift %.2f mm (u %.2f)  margin at most %.2f mm  rms %.2f  inliers %d of %d  sectors %d  scale %.3f  bend %.2f\n", what, e.turn_deg, m->u_turn * 180 / M_PI, e.shift_mm, m->u_shift_mm, e.margin_mm,
              m->rms_mm, m->inliers, m->pairs, m->sectors, m->scale_ratio, m->bend_mm);
}

}  // namespace

int main() {
  std::puts("same fish: another camera, turn and light, the wound shrunk");
  std::vector<std::optional<SkinVisit>> views;
  std::vector<std::shared_ptr<const measure::SkinPattern>> patterns;
  const double areas[] = {1, 0.9, 0.75, 0.6, 0.5, 0.4, 0.3, 0.15};
  for (int i = 0; i < 8; ++i) {
    views.push_back(photographed(skin_view(i, areas[i]), {0.9, 2, 90, static_cast<std::uint64_t>(i + 1)}));
    if (!views.back()) std::printf("no card in view %d\n", i);
    const double t = seconds();
    patterns.push_back(views.back() ? views.back()->pattern() : nullptr);
    if (patterns.back()) std::printf("view %d: %zu points, %.2f s\n", i, patterns.back()->points.size(), seconds() - t);
  }
  for (int i = 1; i < 8; ++i)
    for (const int k : {0, i - 1}) {
      if (!patterns[static_cast<std::size_t>(i)] || !patterns[static_cast<std::size_t>(k)] || (i == 1 && k == i - 1 && k != 0)) continue;
      const auto &a = *views[static_cast<std::size_t>(i)], &b = *views[static_cast<std::size_t>(k)];
      tell(("visit " + std::to_string(i) + " over " + std::to_string(k)).c_str(), a, b, measure::match_skin(*patterns[static_cast<std::size_t>(i)], *patterns[static_cast<std::size_t>(k)]));
      if (i == 1) break;
    }
  std::puts("strangers: another fish with the same scales, the same ulcer");
  int accepted = 0, tried = 0;
  for (int i = 0; i < 4; ++i) {
    const auto stranger = photographed(skin_view(i, areas[i], 100 + static_cast<std::uint64_t>(i)), {0.9, 2, 90, static_cast<std::uint64_t>(i + 50)});
    if (!stranger) continue;
    const auto p = stranger->pattern();
    for (std::size_t k = 0; k < 8; ++k) {
      if (!patterns[k]) continue;
      const auto m = measure::match_skin(*p, *patterns[k]);
      ++tried;
      if (m) {
        ++accepted;
        std::printf("  stranger %d over %zu accepted: inliers %d of %d, rms %.2f, sectors %d, scale %.3f\n", i, k, m->inliers, m->pairs, m->rms_mm, m->sectors, m->scale_ratio);
      }
    }
  }
  std::printf("accepted %d of %d\n", accepted, tried);
  std::puts("the sample case's photos");
  const std::filesystem::path folder = UROKO_SOURCE "/sample_images";
  std::vector<SkinVisit> sample;
  std::vector<std::shared_ptr<const measure::SkinPattern>> found;
  double start = seconds();
  for (const auto& v : scenes::sample_case().visits) {
    const auto file = folder / v.file_name;
    SkinVisit s{v.scene, photo::load(file).bgr, {}, scenes::truth_of(v.scene).outline};
    auto map = scale::find_card(s.bgr, scale::camera_from_exif(photo::probe(file)));
    if (!map) { std::printf("no card in %s\n", v.file_name.c_str()); continue; }
    s.map = std::move(map).value();
    s.bgr.release();
    sample.push_back(std::move(s));
    const double t = seconds();
    found.push_back(std::make_shared<measure::SkinPattern>(measure::read_skin(file, sample.back().map, sample.back().outline)));
    std::printf("%s: %zu points, %.2f s\n", v.file_name.c_str(), found.back()->points.size(), seconds() - t);
  }
  start = seconds();
  const auto aligned = measure::align_visits(found);
  std::printf("eight visits matched in %.2f s\n", seconds() - start);
  for (std::size_t i = 1; i < aligned.size(); ++i) {
    const std::string name = "visit " + std::to_string(i) + " by " + std::to_string(aligned[i].by);
    if (aligned[i].match) tell(name.c_str(), sample[i], sample[aligned[i].by], *aligned[i].match);
    else std::printf("%s: refused: %s\n", name.c_str(), aligned[i].refusal ? aligned[i].refusal->code.c_str() : "");
  }
  return 0;
}
