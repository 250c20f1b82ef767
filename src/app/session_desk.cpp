// The photo on the desk: opening, tools, scale, margin, measuring. Jobs get values and give values back.
#include <algorithm>
#include <cmath>
#include <exception>
#include <nlohmann/json.hpp>
#include <utility>

#include "uroko/app/session.h"
#include "uroko/base/error.h"
#include "uroko/base/text.h"
#include "uroko/casebook/measured.h"
#include "uroko/scale/references.h"

namespace uroko::app {

const ImageOutline& Work::outline() const {
  static const ImageOutline none;
  return margin ? margin->outline : none;
}

void Session::open_photo(const std::filesystem::path& file, PhotoPlace place, const casebook::MeasureRow* saved) {
  autosave();
  View view;  // the panel keeps its size from photo to photo
  if (desk) {
    view.width = desk->view.width;
    view.height = desk->view.height;
  }
  desk = std::make_unique<Desk>();
  desk->id = next_desk_++;
  desk->file = file;
  desk->place = place;
  desk->tool = make_tool(ToolId::loop);
  desk->view = view;
  wound_view_ = false;
  scale_form.reset();
  if (step == Step::compare) step = Step::margin;
  const auto id = desk->id;
  const std::string name = file.filename().string();
  const auto mine = [this, id] { return desk && desk->id == id; };

  jobs.start("Opening " + name, [this, file, mine](const Token& token) -> Jobs::Delivery {
    auto preview = photo::load_preview(file, 1600);
    auto pyramid = build_pyramid(preview.bgr, preview.scale, preview.info.width_px, preview.info.height_px, token);
    return [this, mine, info = preview.info, pyramid] {
      if (!mine() || desk->loaded_whole()) return;
      desk->info = info;
      desk->pyramid = pyramid;
      first_view();
    };
  }, true);
  jobs.start("Reading " + name, [this, file, mine](const Token& token) -> Jobs::Delivery {
    photo::Photo photo;
    try {
      photo = photo::load(file);
    } catch (const Error& e) {
      return [this, mine, e] {
        if (mine()) photo_failed(e);
      };
    }
    auto bgr = std::make_shared<const cv::Mat>(photo.bgr);
    auto pyramid = build_pyramid(photo.bgr, 1, photo.info.width_px, photo.info.height_px, token);
    return [this, mine, info = photo.info, bgr, pyramid, kept = scale::kept_profiles()] {
      lenses = kept;
      if (!mine()) return;
      const bool first = !desk->info;
      desk->info = info;
      desk->bgr = bgr;
      desk->pyramid = pyramid;
      if (first) first_view();
      const auto& now = desk->history.now();
      if (!now.choice && !now.map)
        find_scale(measure::ByCard{settings.print_scale}, true);
      else if (!now.map && now.choice)
        find_scale(*now.choice, true);
      else
        start_measuring();
      recompute_ghost();  // by the skin, now that its pixels are there
    };
  });

  if (saved) restore_measure(*saved);
  restore_unfinished();
  step = desk->history.now().map || saved ? Step::margin : Step::scale;
  recompute_course();
  recompute_ghost();
}

/// Nothing to work on: another of those that are about to be taken in, or none. One of the book stays and says why.
void Session::photo_failed(const Error& e) {
  const auto file = desk->file;
  trouble("Reading " + file.filename().string(), std::make_exception_ptr(e));
  if (desk->place.photo) {
    desk->unreadable = Refusal{e.code(), file.filename().string() + ": " + e.happened(), e.advice()};
    return;
  }
  desk.reset();
  if (!import_form) return;
  const auto& items = import_form->items;
  const auto next = std::find_if(items.begin(), items.end(), [&](const auto& item) { return item.trouble.empty() && item.file != file; });
  if (next != items.end()) open_photo(next->file);
}

/// The whole photo; with a margin already there, the wound and its reference.
void Session::first_view() {
  auto& v = desk->view;
  v.fit(desk->photo_width(), desk->photo_height());
  const auto& now = desk->history.now();
  if (now.outline().empty()) return;
  ImagePoint low = now.outline().parts[0].outer.front(), high = low;
  const auto take = [&](const ImagePoint& p) {
    low = {std::min(low.x, p.x), std::min(low.y, p.y)};
    high = {std::max(high.x, p.x), std::max(high.y, p.y)};
  };
  for (const auto& part : now.outline().parts)
    for (const auto& p : part.outer) take(p);
  if (now.map)
    for (const auto& p : now.map->reference) take(p);
  const double whole = v.zoom;
  v.fit_box(low, high, 0.09 * std::min(v.width, v.height));
  if (v.zoom < whole) v.fit(desk->photo_width(), desk->photo_height());
  wound_view_ = !v.fitted;
}

void Session::choose_tool(ToolId id) {
  if (!desk) return;
  desk->tool = make_tool(id);
  if (about(id).of_margin)
    step = Step::margin;
  else if (id != ToolId::grey)
    step = Step::scale;
  if (id == ToolId::ruler || id == ToolId::disc || id == ToolId::rectangle || id == ToolId::board || id == ToolId::midline) {
    scale_form = ScaleForm{};
    scale_form->kind = id;
    scale_form->first = id == ToolId::ruler ? "10" : id == ToolId::rectangle ? "85.60" : "";
    scale_form->second = id == ToolId::rectangle ? "53.98" : "";
    if (const auto* mat = desk->history.now().choice ? std::get_if<measure::ByBoard>(&*desk->history.now().choice) : nullptr; id == ToolId::board && mat) {
      scale_form->first = std::to_string(mat->columns);
      scale_form->second = std::to_string(mat->rows);
      scale_form->square = number_text(mat->square_mm);
    }
    if (id == ToolId::midline) {
      // The body is the fish's own and stays; where its midline runs is the photo's.
      scale_form->first.clear();
      const auto& now = desk->history.now();
      if (const auto body = now.body ? now.body : body_of_fish()) {
        scale_form->first = number_text(body->depth_mm);
        scale_form->second = number_text(body->width_mm);
        if (now.body && now.body->midline) scale_form->picks = {now.body->midline->first, now.body->midline->second};
      }
    }
  } else {
    scale_form.reset();
  }
}

void Session::press(const Pointer& p) {
  if (desk && desk->tool) apply(desk->tool->press(p, desk->history.now().outline()));
}
void Session::drag(const Pointer& p) {
  if (desk && desk->tool) apply(desk->tool->drag(p, desk->history.now().outline()));
}
void Session::release(const Pointer& p) {
  if (desk && desk->tool) apply(desk->tool->release(p, desk->history.now().outline()));
}
void Session::double_click(const Pointer& p) {
  if (desk && desk->tool) apply(desk->tool->double_click(p, desk->history.now().outline()));
}
void Session::resize_photo(double width, double height) {
  if (!desk) return;
  desk->view.resize(width, height, desk->photo_width(), desk->photo_height());
  if (wound_view_) first_view();  // the first frame of a photo tells the panel's size
  wound_view_ = false;
}
void Session::nudge(double dx, double dy) {
  if (desk && desk->tool) apply(desk->tool->nudge(dx, dy, desk->history.now().outline()));
}

void Session::remove_point() {
  if (desk && desk->tool) apply(desk->tool->remove(desk->history.now().outline()));
}

void Session::apply(const std::optional<Effect>& effect) {
  if (!effect) return;
  Work work = desk->history.now();
  switch (effect->kind) {
    case Effect::Kind::commit: {
      auto changed = std::make_shared<margin::Margin>(work.margin ? *work.margin : margin::Margin{});
      changed->outline = effect->outline;
      changed->from = margin::From::given;
      changed->doubt_px.clear();
      changed->proposal = false;
      if (desk->bgr) {
        const auto kept = changed->warnings;
        *changed = margin::given(*desk->bgr, effect->outline);
      }
      work.margin = changed;
      commit(effect->label, std::move(work));
      return;
    }
    case Effect::Kind::find_loop:
    case Effect::Kind::find_point:
    case Effect::Kind::find_part: find_margin(*effect); return;
    case Effect::Kind::refine: refine_margin(*effect); return;
    case Effect::Kind::picks:
      if (scale_form) {
        scale_form->picks = effect->line;
        scale_form->fault.clear();
        // The first scale comes at once when its length was typed before the clicks; one that is there gives way only when it is asked to.
        if (scale_form->typed && !scale_form->first.empty() && (scale_form->kind == ToolId::midline ? !scale_form->second.empty() : !desk->history.now().map)) give_scale();
      }
      return;
    case Effect::Kind::grey:
      work.grey = effect->line.front();
      commit("pick a neutral grey", std::move(work));
      choose_tool(ToolId::points);
      return;
  }
}

void Session::commit(const std::string& label, Work work) {
  last_change_ = Change::desk;
  desk->history.commit(label, std::move(work));
  work_changed();
}

void Session::work_changed() {
  ++desk->generation;
  desk->margin_refusal.reset();
  desk->measure_refusal.reset();
  start_measuring();
  recompute_ghost();
  autosave();
}

bool Session::take_margin(std::uint64_t of_desk, std::uint64_t generation, const Result<margin::Margin>& found, const std::string& label) {
  if (!desk || desk->id != of_desk) return false;
  desk->finding_margin = false;
  if (desk->generation != generation) return false;  // the person went on meanwhile
  if (!found) {
    desk->margin_refusal = found.refusal();
    return false;
  }
  Work work = desk->history.now();
  work.margin = std::make_shared<margin::Margin>(*found);
  commit(label, std::move(work));
  return true;
}

void Session::find_margin(const Effect& effect) {
  if (!desk->bgr) {
    tell(Notice::Kind::trouble, "The photo is still being read.", "Loop again in a moment.");
    return;
  }
  desk->finding_margin = true;
  desk->margin_refusal.reset();
  const auto id = desk->id;
  const auto generation = desk->generation;
  jobs.start("Finding the margin", [this, id, generation, effect, bgr = desk->bgr, before = desk->history.now().margin](const Token&) -> Jobs::Delivery {
    auto found = effect.kind == Effect::Kind::find_point ? margin::find_from_point(*bgr, effect.line.front()) : margin::find_in_loop(*bgr, effect.outline);
    if (found && effect.kind == Effect::Kind::find_part && before) found = margin::given(*bgr, united(before->outline, found->outline));
    return [this, id, generation, found, label = effect.label] {
      if (take_margin(id, generation, found, label)) choose_tool(ToolId::points);
    };
  }, true);
}

void Session::refine_margin(const Effect& effect) {
  const auto before = desk->history.now().margin;
  if (!desk->bgr || !before) {
    tell(Notice::Kind::trouble, "There is no margin to correct yet.", "Loop the wound first (L).");
    return;
  }
  desk->finding_margin = true;
  const auto id = desk->id;
  const auto generation = desk->generation;
  std::vector<margin::Stroke> keep, drop;
  (effect.inside ? keep : drop).push_back(effect.line);
  jobs.start("Correcting the margin", [this, id, generation, effect, keep, drop, before, bgr = desk->bgr](const Token&) -> Jobs::Delivery {
    auto found = margin::refine(*bgr, *before, keep, drop);
    return [this, id, generation, found, label = effect.label] { take_margin(id, generation, found, label); };
  }, true);
}

void Session::propose_margin() {
  if (!desk || !desk->bgr) return;
  desk->finding_margin = true;
  const auto id = desk->id;
  const auto generation = desk->generation;
  jobs.start("Proposing a margin", [this, id, generation, bgr = desk->bgr, map = desk->history.now().map](const Token&) -> Jobs::Delivery {
    auto found = map ? measure::propose_margin(*bgr, *map, measure::balance_of(*bgr, *map)) : margin::propose(*bgr, {});
    return [this, id, generation, found] {
      if (take_margin(id, generation, found, "propose a margin")) choose_tool(ToolId::points);
    };
  }, true);
}

void Session::find_card() {
  if (desk && desk->bgr) find_scale(measure::ByCard{settings.print_scale}, false);
}

void Session::show_lenses(bool shown) {
  lens_open = shown;
  if (!shown) return;
  jobs.start("Reading the lens profiles", [this](const Token&) -> Jobs::Delivery {
    return [this, kept = scale::kept_profiles()] { lenses = kept; };
  }, true, true);
}

void Session::choose_lens(const LensChoice& lens) {
  if (!desk || !desk->bgr || !desk->history.now().choice) return;
  if (desk->history.now().map && desk->history.now().lens == lens) return;
  find_scale(*desk->history.now().choice, false, lens);
}

const scale::KeptProfile* Session::lens_in_use() const {
  const auto* map = desk ? desk->history.now().map.get() : nullptr;
  if (!map || map->camera.from != scale::Camera::From::profile) return nullptr;
  // The higher coefficients do not change with the picture's size and orientation; k1 is fitted a little further on the reference's own points.
  for (const auto& kept : lenses)
    if (const auto& c = kept.profile.camera; c.name == map->camera.name && c.k2 == map->camera.k2 && c.k3 == map->camera.k3 && std::abs(c.k1 - map->camera.k1) < 0.05) return &kept;
  return nullptr;
}

void Session::start_measuring() {
  if (!desk) return;
  const auto& work = desk->history.now();
  if (!work.map || !work.margin || !desk->bgr) {
    if (!work.margin) {
      desk->measurement.reset();
      desk->bed.reset();
      recompute_course();
    }
    return;
  }
  const auto id = desk->id;
  const auto generation = desk->generation;
  const auto options = measure_options();
  jobs.start("Measuring", [this, id, generation, options, work, bgr = desk->bgr](const Token&) -> Jobs::Delivery {
    std::vector<margin::Margin> traces;
    for (const auto& t : work.earlier) traces.push_back(*t);
    traces.push_back(*work.margin);
    const auto measured = traces.size() > 1 ? measure::measure_traces(*work.map, traces, options) : measure::measure(*work.map, *work.margin, options);
    return [this, id, generation, measured, work, bgr] {
      if (!desk || desk->id != id || desk->generation != generation) return;
      if (!measured) {
        desk->measure_refusal = measured.refusal();
        desk->measurement.reset();
        desk->bed.reset();
        recompute_course();
        return;
      }
      desk->measure_refusal.reset();
      auto shown = std::make_shared<measure::Measurement>(*measured);
      if (const auto* row = accepted_row(); row && !desk->unsaved()) {  // an accepted measure shows the figures that the book and the chart hold
        shown->area_mm2.value = row->area_mm2, shown->area_mm2.u = row->u_mm2, shown->area_mm2.low95 = row->low95, shown->area_mm2.high95 = row->high95;
        shown->length_mm.value = row->length_mm, shown->width_mm.value = row->width_mm, shown->perimeter_mm.value = row->perimeter_mm;
        const auto kept = nlohmann::json::parse(row->budget_json, nullptr, false);
        if (kept.is_array() && !kept.empty()) shown->budget.clear();
        for (const auto& line : kept)
          if (line.is_object()) shown->budget.push_back({line.value("source", ""), line.value("u_mm2", 0.0)});
        std::stable_sort(shown->budget.begin(), shown->budget.end(), [](const auto& a, const auto& b) { return a.u_mm2 > b.u_mm2; });
      }
      desk->measurement = shown;
      desk->measured = generation;
      recompute_course();
      jobs.start("Looking at the bed", [this, id, generation, work, bgr](const Token&) -> Jobs::Delivery {
        const auto balance = work.grey ? bed::from_pick(*bgr, *work.grey) : bed::from_patches(*bgr, *work.map);
        auto found = std::make_shared<bed::Bed>(bed::classify(*bgr, work.margin->outline, *work.map, balance));
        return [this, id, generation, found] {
          if (desk && desk->id == id && desk->generation == generation) desk->bed = found;
        };
      });
    };
  }, true);
}

void Session::undo() {
  if (!desk) {
    undo_book(true);
    return;
  }
  if (desk->tool && desk->tool->cancel()) return;  // a half-drawn loop goes first
  const bool on_desk = desk->history.can_undo();
  if ((last_change_ == Change::book || !on_desk) && undo_book(true)) return;
  if (desk->history.undo()) work_changed();
}

void Session::redo() {
  const bool on_desk = desk && desk->history.can_redo();
  if ((last_change_ == Change::book || !on_desk) && undo_book(false)) return;
  if (on_desk && desk->history.redo()) work_changed();
}

void Session::read_flat() {
  if (!desk || !desk->history.now().body) return;
  Work work = desk->history.now();
  work.body.reset();
  commit("read the wound flat", std::move(work));
}

void Session::trace_once_more() {
  if (!desk || !desk->history.now().margin) return;
  Work work = desk->history.now();
  work.earlier.push_back(std::exchange(work.margin, nullptr));
  commit("keep a trace for the mean", std::move(work));
  choose_tool(ToolId::loop);
}

void Session::clear_margin() {
  if (!desk || !desk->history.now().margin) return;
  Work work = desk->history.now();
  work.margin.reset();
  work.earlier.clear();
  commit("clear the margin", std::move(work));
  choose_tool(ToolId::loop);
}

}  // namespace uroko::app
