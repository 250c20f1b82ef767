#include "uroko/app/session.h"
#include "uroko/casebook/measured.h"

#include <algorithm>
#include <cmath>
#include <exception>
#include <opencv2/imgproc.hpp>
#include <utility>

#include "app/book_access.h"
#include "app/kept_file.h"
#include "app/unfinished.h"
#include "uroko/base/error.h"
#include "uroko/base/text.h"

namespace uroko::app {

void Intents::apply(Session& session) {
  auto list = std::move(list_);
  list_.clear();
  for (auto& intent : list) intent(session);
}

Session::Session(Places where) : places(std::move(where)), kept_unfinished_(std::make_shared<KeptFile>()), kept_settings_(std::make_shared<KeptFile>()) {
  settings = load_settings(places.settings);
  if (auto kept = read_unfinished(places.unfinished)) unfinished_ = std::make_shared<const UnfinishedTrace>(std::move(*kept));
  for (auto* lane : {&jobs, &reading_, &writing_, &outside_}) lane->on_trouble = [this](const std::string& label, const std::exception_ptr& error) { trouble(label, error); };
}

Session::~Session() {
  autosave();
  jobs.cancel_all();
  reading_.cancel_all();
  outside_.cancel_all();
  finish_writing();
  keep_files_now();
}

bool Session::idle() const { return jobs.idle() && reading_.idle() && writing_.idle() && outside_.idle() && writes_.empty(); }

bool Session::settle(double seconds) {
  const auto end = std::chrono::steady_clock::now() + std::chrono::duration<double>(seconds);
  turn();
  do {
    for (auto* lane : {&writing_, &reading_, &outside_, &jobs})
      if (!lane->settle(std::chrono::duration<double>(end - std::chrono::steady_clock::now()).count())) return false;
    turn();
  } while (!idle());
  return true;
}

std::vector<Jobs::Running> Session::running() const {
  auto all = jobs.running();
  for (const auto* lane : {&reading_, &outside_})
    for (auto& job : lane->running()) all.push_back(std::move(job));
  return all;
}

void Session::set_wake(const std::function<void()>& wake) {
  for (auto* lane : {&jobs, &reading_, &writing_, &outside_}) lane->set_wake(wake);
}

void Session::tell(Notice::Kind kind, std::string text, std::string advice) {
  take_back(text);
  notices.push_back({kind, std::move(text), std::move(advice)});
  if (notices.size() > 4) notices.pop_front();
}

void Session::take_back(std::string_view text) {
  std::erase_if(notices, [&](const Notice& n) { return n.text == text; });
}

void Session::put_notice_away(std::size_t index) {
  if (index < notices.size()) notices.erase(notices.begin() + static_cast<std::ptrdiff_t>(index));
}

void Session::trouble(const std::string& label, std::exception_ptr error) {
  try {
    std::rethrow_exception(std::move(error));
  } catch (const Error& e) {
    const std::string where = e.file().empty() ? "" : e.file().filename().string() + ": ";
    tell(Notice::Kind::trouble, where + e.happened(), e.advice());
  } catch (const std::exception& e) {
    tell(Notice::Kind::trouble, label + " failed: " + e.what(), "Try again; if it happens again, keep the photo and report it.");
  }
}

void Session::save_settings_now() {
  if (!kept_settings_->keep([now = settings] { return settings_json(now); })) return;
  reading_.start("Saving the settings", [kept = kept_settings_, to = places.settings](const Token&) -> Jobs::Delivery {
    kept->write(to);
    return {};
  }, false, true);
}

bool Session::turn() {
  bool came = false;
  if (asking_ && !(path_form && path_form->asking)) std::exchange(asking_, std::nullopt)->cancel();  // nobody waits for the dialog's answer
  for (auto* lane : {&writing_, &reading_, &outside_, &jobs}) came |= lane->deliver();
  if (leaving_ && writes_.empty() && not_saved.empty()) {
    const auto then = std::move(leaving_->then);
    leaving_.reset();
    then();
    came = true;
  }
  for (auto& [key, photo] : std::exchange(thumbnails_wanted_, {})) {
    if (thumbnails_.count(key)) continue;
    thumbnails_[key] = cv::Mat();
    jobs.start("Reading small pictures", [this, key = key, photo = photo](const Token&) -> Jobs::Delivery {
      const auto preview = photo::load_preview(photo.file, photo.measure ? 1600 : 400);
      const cv::Rect all(0, 0, preview.bgr.cols, preview.bgr.rows);
      const int least = std::min(all.width, all.height);
      cv::Rect box((all.width - least) / 2, (all.height - least) / 2, least, least);
      if (photo.measure) {  // the wound with some skin round it
        const auto outline = outline_from_wkt<ImagePoint>(photo.measure->margin_wkt);
        if (!outline.empty()) {
          const auto c = centroid(outline);
          const int side = std::min(least, static_cast<int>(1.7 * calipers(outline).length * preview.scale));
          box = cv::Rect(static_cast<int>(c.x * preview.scale) - side / 2, static_cast<int>(c.y * preview.scale) - side / 2, side, side);
          box.x = std::clamp(box.x, 0, all.width - side);
          box.y = std::clamp(box.y, 0, all.height - side);
        }
      }
      cv::Mat small;
      cv::resize(preview.bgr(box), small, {160, 160}, 0, 0, cv::INTER_AREA);
      return [this, key, small] { thumbnails_[key] = small; };
    });
  }
  return came;
}

namespace {
std::string thumbnail_key(const PhotoEntry& photo) { return photo.row.sha256 + "/" + std::to_string(photo.measure ? photo.measure->id : 0); }
}  // namespace

const cv::Mat* Session::thumbnail(const PhotoEntry& photo) const {
  const auto found = thumbnails_.find(thumbnail_key(photo));
  return found == thumbnails_.end() || found->second.empty() ? nullptr : &found->second;
}

void Session::want_thumbnail(const PhotoEntry& photo) {
  if (const auto key = thumbnail_key(photo); !photo.file.empty() && !thumbnails_.count(key)) thumbnails_wanted_.emplace(key, photo);
}

bool Session::run(std::string_view id) {
  const auto* c = command(id);
  if (!c || (c->enabled && !c->enabled(*this))) return false;
  c->run(*this);
  return true;
}

bool Session::key(const KeyPress& press) {
  const auto* c = command_for(*this, press);
  if (!c) return false;
  c->run(*this);
  return true;
}

void Session::escape() {
  if (leaving_)
    stay();
  else if (palette.open)
    palette = {};
  else if (guide.open)
    guide.open = false;
  else if (tour_at)
    end_tour();
  else if (path_form)
    path_form.reset();
  else if (log_form)
    log_form.reset();
  else if (dose_form)
    dose_form.reset();
  else if (fish_form)
    fish_form.reset();
  else if (wound_form)
    wound_form.reset();
  else if (visit_form)
    visit_form.reset();
  else if (import_form)
    import_form.reset();
  else if (settings_open)
    settings_open = false;
  else if (desk && desk->tool && desk->tool->cancel())
    return;
  else if (desk && desk->tool && desk->tool->id() != ToolId::points && desk->history.now().margin)
    choose_tool(ToolId::points);
  else if (step == Step::compare)
    set_step(Step::margin);
  else if (!notices.empty())
    notices.pop_back();
}

int Session::look_of_visit(casebook::Id id) const {
  for (std::size_t i = 0; i < look_visits_.size(); ++i)
    if (look_visits_[i] == id) return static_cast<int>(i);
  return -1;
}

const casebook::MeasureRow* Session::accepted_row() const {
  const auto* f = desk ? book.find_wound(desk->place.wound) : nullptr;
  const auto* v = f ? f->visit(desk->place.visit) : nullptr;
  if (!v) return nullptr;
  for (const auto& p : v->photos)
    if (p.row.id == desk->place.photo) return p.measure ? &*p.measure : nullptr;
  return nullptr;
}

/// Those of the measure in the book (body, plane offset), so that a corrected margin is measured as the accepted one was.
measure::MeasureOptions Session::measure_options() const {
  const auto* row = accepted_row();
  auto options = row ? casebook::options_of(*row) : measure::MeasureOptions{};
  if (const auto* wound = desk ? book.find_wound(desk->place.wound) : nullptr) options.site = wound->wound.site;
  if (desk) options.body = desk->history.now().body;
  return options;
}

std::optional<measure::Body> Session::body_of_fish() const {
  const auto* f = current_fish();
  std::optional<measure::Body> latest;
  double day = -1e9;
  if (!f) return latest;
  for (const auto& w : f->wounds)
    for (const auto& v : w.visits)
      for (const auto& p : v.photos) {
        if (!p.measure || v.visit.date.days() < day) continue;
        try {
          if (const auto body = casebook::options_of(*p.measure).body) {
            latest = measure::Body{body->depth_mm, body->width_mm, std::nullopt};
            day = v.visit.date.days();
          }
        } catch (const Error&) {
          // A row that came from a table says nothing of the body.
        }
      }
  return latest;
}

void Session::recompute_course() {
  ++course_version_;
  course_.reset();
  series_ = {};
  look_visits_.clear();
  const auto* w = current_wound();
  if (!w) return;
  series_ = w->series;
  std::vector<std::pair<healing::Look, casebook::Id>> looks;
  const bool fresh = desk && desk->place.wound == w->wound.id && desk->measurement && desk->unsaved() && desk->measured == desk->generation;
  const auto visit_on = [&](const DateTime& date) {
    for (const auto& v : w->visits)
      if (v.visit.date.day_number() == date.day_number()) return v.visit.id;
    return casebook::Id{0};
  };
  for (const auto& look : w->series.looks) {
    const auto id = visit_on(look.date);
    if (fresh && id == desk->place.visit) continue;
    looks.emplace_back(look, id);
  }
  if (fresh)
    if (const auto* v = w->visit(desk->place.visit)) {
      healing::Look look;
      look.date = v->visit.date;
      look.area_mm2 = desk->measurement->area_mm2.value;
      look.u_mm2 = desk->measurement->area_mm2.u;
      look.perimeter_mm = desk->measurement->perimeter_mm.value;
      if (desk->bed) {
        look.bed.emplace();
        for (std::size_t t = 0; t < bed::kTissues; ++t) (*look.bed)[t] = desk->bed->tissue[t].share;
      }
      looks.emplace_back(look, v->visit.id);
    }
  std::stable_sort(looks.begin(), looks.end(), [](const auto& a, const auto& b) { return before(a.first.date, b.first.date); });
  series_.looks.clear();
  for (const auto& [look, id] : looks) {
    series_.looks.push_back(look);
    look_visits_.push_back(id);
  }
  if (series_.looks.empty()) return;
  try {
    healing::CourseOptions options;
    options.degree_day_base_c = settings.degree_day_base_c;
    course_ = healing::follow(series_, options);
  } catch (const std::exception& e) {
    tell(Notice::Kind::trouble, std::string("The healing curve could not be worked out: ") + e.what(), "Look at the visits' areas and dates.");
  }
}

}  // namespace uroko::app
