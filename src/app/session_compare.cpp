// Visits beside and over each other: the ghost of the last margin, nested outlines, two photos at one millimetre scale.
#include <cmath>
#include <numbers>

#include "app/book_access.h"
#include "uroko/app/session.h"

namespace uroko::app {

namespace {

PlaneOutline laid_over(const PlaneOutline& outline, const PlaneOutline& under) {
  // The card lies differently at each visit: centres are brought together, then the turn that overlaps best is taken. For the eye only.
  const auto c = centroid(outline), to = centroid(under);
  const auto turned = [&](double a) {
    const double cs = std::cos(a), sn = std::sin(a);
    return mapped<PlanePoint, PlanePoint>(outline, [=](const PlanePoint& p) {
      const double x = p.x - c.x, y = p.y - c.y;
      return PlanePoint{to.x + cs * x - sn * y, to.y + sn * x + cs * y};
    });
  };
  double best = 0, best_score = -1;
  for (int i = -12; i < 12; ++i) {
    const double a = i * std::numbers::pi / 12;
    double score = 0;
    try {
      score = uroko::area(intersection(turned(a), under));
    } catch (const std::exception&) {
    }
    score *= 1 - 0.02 * std::abs(i);  // no turn without a reason
    if (score > best_score) {
      best_score = score;
      best = a;
    }
  }
  return turned(best);
}

}  // namespace

void Session::set_step(Step s) {
  step = s;
  if (!desk) return;
  if (s == Step::scale && desk->tool && about(desk->tool->id()).of_margin && !desk->history.now().map) choose_tool(ToolId::ruler);
  if (s == Step::margin && desk->tool && !about(desk->tool->id()).of_margin) choose_tool(desk->history.now().margin ? ToolId::points : ToolId::loop);
  if (s == Step::compare) {
    recompute_nested();
    const auto* w = current_wound();
    if (w && !w->visits.empty()) {
      compare.right = visit;
      compare.left = w->visits.front().visit.id;
      for (const auto& v : w->visits)
        if (v.visit.id == visit) break;
        else compare.left = v.visit.id;
    }
  }
}

void Session::recompute_ghost() {
  ghost_.reset();
  if (!desk || !desk->history.now().map) return;
  const auto* w = current_wound();
  if (!w) return;
  const PhotoEntry* last = nullptr;
  const VisitEntry* from = nullptr;
  for (const auto& v : w->visits) {
    if (v.visit.id == desk->place.visit) break;
    if (const auto* p = v.measured()) {
      last = p;
      from = &v;
    }
  }
  if (!last) return;
  try {
    const auto outline = outline_mm(*last->measure);
    if (!outline) return;
    Ghost g;
    g.date = from->visit.date.iso_date();
    g.area_mm2 = last->measure->area_mm2;
    const auto& now = desk->history.now();
    if (now.margin && !find_fault(now.margin->outline)) {
      g.outline_mm = laid_over(*outline, now.map->to_plane(now.margin->outline));
    } else {
      return;  // nothing to lay it over yet
    }
    ghost_ = std::move(g);
  } catch (const std::exception&) {
    ghost_.reset();
  }
}

void Session::recompute_nested() {
  nested_.clear();
  const auto* w = current_wound();
  if (!w) return;
  for (const auto& v : w->visits) {
    const auto* p = v.measured();
    if (!p) continue;
    try {
      if (auto outline = outline_mm(*p->measure); outline && !find_fault(*outline)) nested_.push_back({v.visit.id, v.visit.date, std::move(*outline), p->measure->area_mm2});
    } catch (const std::exception&) {
      // A stored margin that cannot be read is left out here; the result panel says so when its visit is opened.
    }
  }
  if (nested_.empty()) return;
  // Everything is laid over the first, each over the one before it.
  const auto c = centroid(nested_.front().outline_mm);
  nested_.front().outline_mm = mapped<PlanePoint, PlanePoint>(nested_.front().outline_mm, [&](const PlanePoint& p) { return PlanePoint{p.x - c.x, p.y - c.y}; });
  for (std::size_t i = 1; i < nested_.size(); ++i) nested_[i].outline_mm = laid_over(nested_[i].outline_mm, nested_[i - 1].outline_mm);
}

const ComparePhoto* Session::compare_photo(casebook::Id id) const {
  const auto found = compare_photos_.find(id);
  return found == compare_photos_.end() || !found->second.pyramid ? nullptr : &found->second;
}

void Session::want_compare_photo(casebook::Id id) {
  if (compare_photos_.count(id)) return;
  const auto* w = current_wound();
  const auto* v = w ? w->visit(id) : nullptr;
  if (!v || v->photos.empty()) return;
  const PhotoEntry* p = v->measured() ? v->measured() : &v->photos.front();
  if (compare_photos_.size() > 6) compare_photos_.clear();
  auto& kept = compare_photos_[id];
  if (p->measure) {
    try {
      kept.outline = outline_from_wkt<ImagePoint>(p->measure->margin_wkt);
      kept.map = stored_map(*p->measure);
      kept.area_mm2 = p->measure->area_mm2;
      kept.u_mm2 = p->measure->u_mm2;
    } catch (const std::exception&) {
      kept.outline = {};
    }
  }
  jobs.start("Reading " + v->visit.date.iso_date(), [this, id, file = p->file](const Token& token) -> Jobs::Delivery {
    auto preview = photo::load_preview(file, 2400);
    auto pyramid = build_pyramid(preview.bgr, preview.scale, preview.info.width_px, preview.info.height_px, token);
    return [this, id, pyramid] { compare_photos_[id].pyramid = pyramid; };
  });
}

}  // namespace uroko::app
