// Visits beside and over each other: the ghost of the last margin, nested outlines, two photos at one millimetre scale. The outlines are shown centred
// at once and moved to where the skin's pattern puts them when a worker has read it.
#include "app/book_access.h"
#include "app/laid_over.h"
#include "uroko/app/session.h"

namespace uroko::app {

namespace {

/// What a skin's pattern is kept by: the photo, and the measure whose map and margin it was read with.
std::string skin_key(const PhotoEntry& photo) { return photo.row.sha256 + "/" + std::to_string(photo.measure ? photo.measure->id : 0); }

measure::SkinPhoto skin_photo(const PhotoEntry& photo) {
  measure::SkinPhoto out{photo.file, nullptr, {}};
  if (!photo.measure) return out;
  try {
    out.outline = outline_from_wkt<ImagePoint>(photo.measure->margin_wkt);
    out.map = stored_map(*photo.measure);
  } catch (const std::exception&) {
    out.map.reset();
  }
  return out;
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

void Session::show_outlines(bool outlines) {
  compare.nested = outlines;
  if (outlines) recompute_nested();
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
    match_ghost(*last);
    Ghost g;
    g.date = from->visit.date.iso_date();
    g.area_mm2 = last->measure->area_mm2;
    const auto& now = desk->history.now();
    const auto& m = ghost_match_;
    if (m.done && m.desk_from_last && m.desk == desk->id && m.map == now.map) {
      g.outline_mm = (*m.desk_from_last)(*outline);
      g.by_skin = true;
    } else if (now.margin && !find_fault(now.margin->outline)) {
      g.outline_mm = laid_over(*outline, now.map->to_plane(now.margin->outline));
    } else {
      return;  // nothing to lay it over yet
    }
    ghost_ = std::move(g);
  } catch (const std::exception&) {
    ghost_.reset();
  }
}

void Session::match_ghost(const PhotoEntry& last) {
  const auto& now = desk->history.now();
  auto& m = ghost_match_;
  const auto key = skin_key(last);
  if (!desk->bgr || (m.desk == desk->id && m.map == now.map && m.last == key)) return;
  m = {desk->id, now.map, key, false, {}};
  const auto known = skins_.find(key);
  jobs.start("Matching the skin", [this, id = desk->id, map = now.map, bgr = desk->bgr, outline = now.outline(), key, photo = skin_photo(last),
                                   skin = known == skins_.end() ? nullptr : known->second](const Token& token) -> Jobs::Delivery {
    const auto before = skin ? skin : measure::read_skins({photo}, token).front();
    std::optional<measure::SkinMotion> found;
    if (before && !token.cancelled())
      if (const auto match = measure::match_skin(*before, measure::read_skin(*bgr, 1, *map, outline))) found = match->to_from;
    return [this, id, map, key, before, found] {
      if (before) skins_[key] = before;
      auto& mine = ghost_match_;
      if (mine.desk != id || mine.map != map || mine.last != key) return;
      mine.done = true;
      mine.desk_from_last = found;
      recompute_ghost();
    };
  });
}

void Session::recompute_nested() {
  nested_.clear();
  const auto* w = current_wound();
  if (!w) return;
  std::vector<const PhotoEntry*> photos;
  for (const auto& v : w->visits) {
    const auto* p = v.measured();
    if (!p) continue;
    try {
      if (auto outline = outline_mm(*p->measure); outline && !find_fault(*outline)) {
        nested_.push_back({v.visit.id, v.visit.date, std::move(*outline), p->measure->area_mm2});
        photos.push_back(p);
      }
    } catch (const std::exception&) {
      // A stored margin that cannot be read is left out here; the result panel says so when its visit is opened.
    }
  }
  if (nested_.empty()) return;
  std::string key;
  for (const auto* p : photos) key += skin_key(*p) + " ";
  const auto aligned = aligned_.find(key);
  std::optional<PlanePoint> origin;
  if (aligned != aligned_.end())
    for (std::size_t i = 0; i < nested_.size(); ++i) {
      const auto& a = aligned->second[i];
      if (a.refusal) nested_[i].why_not = a.refusal->text;
      if (!a.to_first) continue;
      auto outline = (*a.to_first)(nested_[i].outline_mm);
      if (!origin) origin = centroid(outline);
      nested_[i].outline_mm = shifted(outline, -origin->x, -origin->y);
      nested_[i].by_skin = true;
    }
  // The others are laid over the one before them; those before the first over that one.
  std::size_t anchor = 0;
  while (origin && !nested_[anchor].by_skin) ++anchor;
  if (!origin) {
    const auto c = centroid(nested_.front().outline_mm);
    nested_.front().outline_mm = shifted(nested_.front().outline_mm, -c.x, -c.y);
  }
  for (std::size_t i = 0; i < anchor; ++i) nested_[i].outline_mm = laid_over(nested_[i].outline_mm, nested_[anchor].outline_mm);
  for (std::size_t i = anchor + 1; i < nested_.size(); ++i)
    if (!nested_[i].by_skin) nested_[i].outline_mm = laid_over(nested_[i].outline_mm, nested_[i - 1].outline_mm);
  if (compare.nested && aligned == aligned_.end() && photos.size() > 1) match_nested(photos);
}

void Session::match_nested(const std::vector<const PhotoEntry*>& entries) {
  std::vector<measure::SkinPhoto> photos;
  std::vector<std::string> keys;
  std::vector<std::shared_ptr<const measure::SkinPattern>> known;
  std::string key;
  for (const auto* p : entries) {
    photos.push_back(skin_photo(*p));
    keys.push_back(skin_key(*p));
    key += keys.back() + " ";
    const auto found = skins_.find(keys.back());
    known.push_back(found == skins_.end() ? nullptr : found->second);
  }
  aligned_[key].resize(entries.size());  // asked for once
  matching_.insert(key);
  jobs.start("Matching the skin", [this, key, keys, photos, known](const Token& token) mutable -> Jobs::Delivery {
    std::vector<measure::SkinPhoto> missing;
    for (std::size_t i = 0; i < photos.size(); ++i)
      if (!known[i]) missing.push_back(photos[i]);
    const auto read = measure::read_skins(missing, token);
    for (std::size_t i = 0, k = 0; i < photos.size(); ++i)
      if (!known[i]) known[i] = read[k++];
    auto aligned = measure::align_visits(known, token);
    return [this, key, keys, known, aligned = std::move(aligned)] {
      matching_.erase(key);
      for (std::size_t i = 0; i < keys.size(); ++i)
        if (known[i]) skins_[keys[i]] = known[i];
      aligned_[key] = aligned;
      if (step == Step::compare) recompute_nested();
    };
  });
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
