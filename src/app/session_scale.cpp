// A scale for the photo on the desk: found by itself, given by hand, or compared with another reference.
#include <cmath>

#include "uroko/app/session.h"
#include "uroko/base/error.h"
#include "uroko/base/text.h"

namespace uroko::app {

namespace {

Result<scale::Camera> camera_by(const LensChoice& lens, const photo::PhotoInfo& info, std::vector<Warning>& warnings) {
  if (lens.by == LensChoice::By::itself) return measure::camera_of(info, {});
  if (lens.by == LensChoice::By::none) return scale::camera_from_exif(info);
  try {
    return measure::camera_of(info, lens.file, &warnings);
  } catch (const Error& e) {
    return Refusal{"lens", lens.file.filename().string() + ": " + e.happened(), e.advice()};
  }
}

bool sensible(const std::optional<double>& mm) { return mm && *mm > 0 && *mm <= 2000; }
constexpr const char* kLengthHelp = "The length must be a number of millimetres between 0 and 2000, such as 25,75.";

}  // namespace

void Session::find_scale(const measure::ScaleChoice& choice, bool by_itself, const std::optional<LensChoice>& other_lens) {
  const LensChoice lens = other_lens.value_or(desk->history.now().lens);
  desk->finding_scale = true;
  desk->scale_refusal.reset();
  const auto id = desk->id;
  const bool was_chosen = desk->history.now().choice.has_value();
  jobs.start("Finding the scale", [this, id, choice, by_itself, was_chosen, lens, other = other_lens.has_value(), bgr = desk->bgr, info = *desk->info](const Token&) -> Jobs::Delivery {
    std::vector<Warning> warnings;
    const auto camera = camera_by(lens, info, warnings);
    auto found = camera ? measure::find_scale(*bgr, *camera, choice) : Result<scale::PlaneMap>(camera.refusal());
    if (found) found->warnings.insert(found->warnings.end(), warnings.begin(), warnings.end());
    return [this, id, choice, by_itself, was_chosen, lens, other, found] {
      if (!desk || desk->id != id) return;
      desk->finding_scale = false;
      if (!found) {
        if (other)
          tell(Notice::Kind::trouble, found.refusal().text, found.refusal().advice);  // the scale stays as it was
        else
          desk->scale_refusal = found.refusal();
        return;
      }
      Work work = desk->history.now();
      work.choice = choice;
      work.lens = lens;
      work.map = std::make_shared<scale::PlaneMap>(*found);
      const bool ground = by_itself && (was_chosen || (!work.margin && !desk->history.can_undo()));
      if (ground) {
        desk->history.amend(std::move(work));
        work_changed();
      } else {
        commit(other ? std::string(lens.by == LensChoice::By::none ? "no lens profile" : "another lens profile") : std::string("scale from the ") + scale::name(found->kind), std::move(work));
      }
      if (other) return;
      scale_form.reset();
      if (step == Step::scale) step = Step::margin;
      if (desk->tool && !about(desk->tool->id()).of_margin) choose_tool(desk->history.now().margin ? ToolId::points : ToolId::loop);
    };
  }, true);
}

std::optional<measure::ScaleChoice> Session::typed_scale() {
  auto& f = *scale_form;
  f.fault.clear();
  const auto first = parse_typed_number(f.first), second = parse_typed_number(f.second);
  const auto wrong = [&](const char* what) {
    f.fault.say(what);
    return std::nullopt;
  };
  if (f.kind == ToolId::board) {
    const auto square = parse_typed_number(f.square);
    const auto whole = [](const std::optional<double>& v) { return v && *v >= 3 && *v <= 40 && *v == std::floor(*v); };
    if (!whole(first) || !whole(second)) return wrong("Inner corners, where four squares meet: a whole number from 3 to 40 each way, such as 9 and 6.");
    if (!sensible(square)) return wrong("The side of a square must be a number of millimetres, such as 25 or 12,5.");
    return measure::ByBoard{static_cast<int>(*first), static_cast<int>(*second), *square};
  }
  if (f.picks.size() < picks_of(f.kind)) return wrong("Click in the photo first.");
  if (!sensible(first) || (f.kind == ToolId::rectangle && !sensible(second))) return wrong(kLengthHelp);
  if (f.kind == ToolId::ruler) return measure::ByRuler{f.picks[0], f.picks[1], *first};
  if (f.kind == ToolId::disc) return measure::ByDisc{f.picks[0], *first};
  return measure::ByRectangle{{f.picks[0], f.picks[1], f.picks[2], f.picks[3]}, *first, *second};
}

void Session::give_curve() {
  auto& f = *scale_form;
  f.fault.clear();
  const auto depth = parse_typed_number(f.first), width = parse_typed_number(f.second);
  if (f.picks.size() < picks_of(f.kind)) return f.fault.say("Click in the photo first.");
  if (!sensible(depth) || !sensible(width)) return f.fault.say(kLengthHelp);
  if (!desk->history.now().map) return f.fault.say("Give the scale first.");
  Work work = desk->history.now();
  work.body = measure::Body{*depth, *width, std::pair(f.picks[0], f.picks[1])};
  scale_form.reset();
  commit("curve of the flank", std::move(work));
  choose_tool(desk->history.now().margin ? ToolId::points : ToolId::loop);
}

void Session::give_scale() {
  if (!scale_form || !desk || !desk->bgr) return;
  if (scale_form->kind == ToolId::midline) return give_curve();
  if (const auto choice = typed_scale()) find_scale(*choice, false);
}

bool Session::can_compare_scale() const {
  return scale_form && scale_form->kind != ToolId::midline && desk && desk->bgr && desk->history.now().map && desk->history.now().margin && desk->measurement && desk->measured == desk->generation;
}

void Session::compare_scale() {
  if (!can_compare_scale()) return;
  const auto choice = typed_scale();
  if (!choice) return;
  const auto work = desk->history.now();
  jobs.start("Comparing the references", [this, id = desk->id, generation = desk->generation, choice = *choice, work, bgr = desk->bgr, info = *desk->info, options = measure_options()](const Token&) -> Jobs::Delivery {
    std::vector<Warning> ignored;  // they were told of the scale in use
    const auto camera = camera_by(work.lens, info, ignored);
    const auto other = camera ? measure::find_scale(*bgr, *camera, choice) : Result<scale::PlaneMap>(camera.refusal());
    const auto by_it = other ? measure::measure(*other, *work.margin, options) : Result<measure::Measurement>(other.refusal());
    const auto by_this = measure::measure(*work.map, *work.margin, options);
    return [this, id, generation, work, other, by_it, by_this] {
      if (!desk || desk->id != id || desk->generation != generation || !scale_form) return;
      if (!by_it || !by_this) {
        const auto& refusal = !by_it ? by_it.refusal() : by_this.refusal();
        return scale_form->fault.say(refusal.text + "; " + refusal.advice);
      }
      desk->second = SecondReference{generation, other->kind, work.map->kind, by_it->area_mm2.value, by_this->area_mm2.value, measure::compare_references(work.map->kind, *by_this, other->kind, *by_it)};
    };
  }, true);
}

}  // namespace uroko::app
