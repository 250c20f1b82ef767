#include "uroko/measure/one_photo.h"

#include <fmt/format.h>

#include "uroko/base/error.h"
#include "uroko/scale/lens.h"
#include "uroko/scale/references.h"

namespace uroko::measure {

namespace {

template <class... F>
struct Overloaded : F... {
  using F::operator()...;
};
template <class... F>
Overloaded(F...) -> Overloaded<F...>;  // clang 14 wants the guide

template <class T>
T take(Result<T> result, const std::filesystem::path& file) {
  if (!result) {
    const auto& no = result.refusal();
    throw Error(Fault::not_measured, no.code, file, no.text, no.advice);
  }
  return std::move(result).value();
}

margin::Margin find_margin(const cv::Mat& bgr, const scale::PlaneMap& map, const bed::WhiteBalance& balance, const PhotoRequest& request) {
  const Overloaded by{
      [&](const Given& given) -> Result<margin::Margin> { return margin::given(bgr, given.outline); },
      [&](const Around& around) { return margin::find_in_loop(bgr, around.loop); },
      [&](const FromPoint& point) { return margin::find_from_point(bgr, point.inside); },
      [&](const NoHint&) { return propose_margin(bgr, map, balance); },
  };
  auto found = take(std::visit(by, request.margin), request.file);
  if (!request.keep.empty() || !request.drop.empty()) found = take(margin::refine(bgr, found, request.keep, request.drop), request.file);
  return found;
}

}  // namespace

Result<scale::PlaneMap> find_scale(const cv::Mat& bgr, const scale::Camera& camera, const ScaleChoice& choice) {
  const Overloaded by{
      [&](const ByCard& card) {
        scale::CardOptions options;
        options.print_scale = card.print_scale;
        return scale::find_card(bgr, camera, options);
      },
      [&](const ByRuler& ruler) { return scale::from_ruler(bgr, camera, ruler.from, ruler.to, ruler.length_mm); },
      [&](const ByDisc& disc) { return scale::from_disc(bgr, camera, disc.near, disc.diameter_mm); },
      [&](const ByRectangle& box) { return scale::from_rectangle(bgr, camera, box.corners, box.width_mm, box.height_mm); },
      [&](const ByBoard& board) { return scale::from_checkerboard(bgr, camera, board.columns, board.rows, board.square_mm); },
  };
  return std::visit(by, choice);
}

scale::Camera camera_of(const photo::PhotoInfo& info, const std::optional<std::filesystem::path>& lens_profile, std::vector<Warning>* warnings) {
  if (!lens_profile) return scale::camera_for(info);
  std::vector<Warning> mismatches;
  auto camera = take(scale::camera_from_profile(scale::read_lens_profile(*lens_profile), info, mismatches), *lens_profile);
  if (warnings) warnings->insert(warnings->end(), mismatches.begin(), mismatches.end());
  return camera;
}

bed::WhiteBalance balance_of(const cv::Mat& bgr, const scale::PlaneMap& map) {
  return map.kind == scale::Kind::card ? bed::from_patches(bgr, map) : bed::WhiteBalance{};
}

Result<margin::Margin> propose_margin(const cv::Mat& bgr, const scale::PlaneMap& map, const bed::WhiteBalance& balance) {
  // The reference itself cannot be wound.
  ImageOutline reference;
  if (map.reference.size() >= 3) reference.parts.push_back({map.reference, {}});
  margin::FinderOptions options;
  options.mm_per_px = map.mm_per_px({0.5 * bgr.cols, 0.5 * bgr.rows});
  return margin::propose(balance.from == bed::WhiteBalance::From::none ? bgr : bed::balanced(bgr, balance), reference, options);
}

PhotoResult measure_photo(const PhotoRequest& request) {
  const auto* given = std::get_if<Given>(&request.margin);
  const auto check = [&](const ImageOutline& outline) {
    if (const auto fault = find_fault(outline))
      throw Error(Fault::usage, "invalid-margin", request.file, fault->text, "give an outline that encloses the wound once");
  };
  if (given) {
    check(given->outline);
    for (const auto& repeat : given->repeats) check(repeat);
  }
  PhotoResult out;
  out.photo = photo::load(request.file);
  std::vector<Warning> lens_warnings;
  const auto camera = camera_of(out.photo.info, request.lens_profile, &lens_warnings);
  out.map = take(find_scale(out.photo.bgr, camera, request.scale), request.file);
  out.map.warnings.insert(out.map.warnings.end(), lens_warnings.begin(), lens_warnings.end());
  const auto balance = balance_of(out.photo.bgr, out.map);
  out.margin = find_margin(out.photo.bgr, out.map, balance, request);
  if (given && !given->repeats.empty()) {
    std::vector<margin::Margin> traces{out.margin};
    for (const auto& repeat : given->repeats) traces.push_back(margin::given(out.photo.bgr, repeat));
    out.measurement = take(measure_traces(out.map, traces, request.options), request.file);
    out.margin = traces[out.measurement.trace];
  } else {
    out.measurement = take(measure(out.map, out.margin, request.options), request.file);
  }
  if (request.check) {
    PhotoResult::Check check;
    check.map = take(find_scale(out.photo.bgr, camera, *request.check), request.file);
    const auto by_other = take(measure(check.map, out.margin, request.options), request.file);
    check.area_mm2 = by_other.area_mm2.value;
    // Repeat traces measure more than this one margin.
    const bool repeated = given && !given->repeats.empty();
    if (auto told = compare_references(out.map.kind, repeated ? take(measure(out.map, out.margin, request.options), request.file) : out.measurement, check.map.kind, by_other)) {
      check.agrees = false;
      out.measurement.warnings.push_back(std::move(*told));
    }
    out.check = std::move(check);
  }
  for (auto& warning : photo_warnings(out.photo.bgr, out.map, out.margin)) out.measurement.warnings.push_back(std::move(warning));
  out.bed = bed::classify(out.photo.bgr, out.margin.outline, out.map, balance);
  return out;
}

VisitResult measure_visit(const std::vector<PhotoRequest>& requests) {
  VisitResult out;
  std::vector<Measurement> each;
  for (const auto& request : requests) {
    out.photos.push_back(measure_photo(request));
    each.push_back(out.photos.back().measurement);
  }
  out.measurement = combined(each);
  std::string first;
  for (const auto& photo : out.photos) {
    if (!photo.photo.info.taken) continue;
    const auto day = photo.photo.info.taken->iso_date();
    if (first.empty()) first = day;
    if (day == first) continue;
    out.measurement.warnings.push_back({"dates", fmt::format("the photos were not taken on one day ({}, {}); combine photos of one visit only", first, day)});
    break;
  }
  return out;
}

}  // namespace uroko::measure
