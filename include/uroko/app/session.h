#pragma once
#include <chrono>
#include <deque>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "uroko/app/book_model.h"
#include "uroko/app/commands.h"
#include "uroko/app/desk.h"
#include "uroko/app/forms.h"
#include "uroko/app/guide.h"
#include "uroko/app/jobs.h"
#include "uroko/app/settings.h"
#include "uroko/app/writes.h"
#include "uroko/base/error.h"
#include "uroko/measure/skin_match.h"
#include "uroko/report/chart.h"
#include "uroko/scale/lens.h"

namespace uroko::app {

enum class Step { scale, margin, compare };

/// A line for the person: what happened and what to do. Stays until it is put away.
struct Notice {
  enum class Kind { trouble, done } kind = Kind::done;
  std::string text, advice;
};

/// A visit's margin in millimetres on the present photo's plane: where the skin's pattern puts it, otherwise centred on the present margin.
struct Ghost {
  std::string date;
  bool by_skin = false;
  PlaneOutline outline_mm;
  double area_mm2 = 0;
};

struct CompareState {
  bool nested = false;         ///< outlines in one frame; otherwise two photos side by side
  casebook::Id left = 0, right = 0;  ///< visits
  double zoom = 1;             ///< times the scale at which both fit
};

/// A visit's margin in the frame that all visits share, for the nested outlines.
struct Nested {
  casebook::Id visit = 0;
  DateTime date;
  PlaneOutline outline_mm;  ///< in the first one's millimetres, its middle at 0
  double area_mm2 = 0;
  bool by_skin = false;     ///< laid over the first by the skin's pattern; otherwise centred on the one before
  std::string why_not{};    ///< what the skin's match said, where it refused
};

/// One side of the comparison: a photo that is not on the desk.
struct ComparePhoto {
  std::shared_ptr<const Pyramid> pyramid;
  std::shared_ptr<const scale::PlaneMap> map;
  ImageOutline outline;
  double area_mm2 = 0, u_mm2 = 0;
};

struct BankState {
  report::TimeAxis axis = report::TimeAxis::days;
  bool folded = false, by_room = true;  ///< by_room: folded where there is little height, until a person says otherwise
  bool others = false;              ///< the fish's other wounds too
  double from = 0, to = 1;          ///< shown part of the whole time axis
  casebook::Id hovered = 0;         ///< visit under the pointer
};

/// The sample case that a package installs or scripts/demo builds, where there is one.
std::filesystem::path sample_book();  ///< empty: none is there

/// Where things are kept; tests give their own.
struct Places {
  std::filesystem::path settings = config_folder() / "settings.json";
  std::filesystem::path unfinished = state_folder() / "unfinished.json";
  std::filesystem::path sample = sample_book();
};

/// The dose sheet's answer in words; `volume` is empty while something is missing, and `problem` says what.
struct DoseResult {
  std::string volume, problem;
  std::vector<std::string> working, cautions;
};

struct BookAccess;
class KeptFile;
struct UnfinishedTrace;

/// Everything the window does, without a window. The gui draws it as constant state; what a person does comes back as calls made
/// after the frame (Intents). Main thread only.
class Session {
 public:
  explicit Session(Places places = {});
  ~Session();

  // --- the state that is drawn
  Settings settings;
  Places places;
  BookModel book;
  casebook::Id fish = 0, wound = 0, visit = 0;
  std::unique_ptr<Desk> desk;
  Step step = Step::scale;
  CompareState compare;
  BankState bank;
  std::deque<Notice> notices;
  std::deque<NotSaved> not_saved;  ///< above the notices, each with "try again"
  std::optional<ImportForm> import_form;
  std::optional<LogForm> log_form;
  std::optional<DoseForm> dose_form;
  std::optional<FishForm> fish_form;
  std::optional<WoundForm> wound_form;
  std::optional<VisitForm> visit_form;
  std::optional<ScaleForm> scale_form;
  std::optional<PathForm> path_form;
  PaletteState palette;
  GuideView guide;
  bool settings_open = false;
  bool lens_open = false;  ///< the list of lens profiles
  std::vector<scale::KeptProfile> lenses;  ///< those kept on this machine, read when a photo is opened and when the list is
  std::optional<std::size_t> tour_at;  ///< stop of the tour that is shown
  struct SettingsText {
    std::string print = "100", base = "0";
  } settings_text;  ///< as typed
  struct Room {
    bool wide = true, tall = true;
  } room;  ///< what the window has room for; the gui says so
  bool list_shown = true, list_by_width = true;
  bool ghost_shown = true, overlay_shown = false, loupe_shown = false, budget_open = false, reasons_open = false;
  bool quit = false;

  /// The book that is being opened; what was shown before stays until it is there.
  std::optional<std::filesystem::path> opening;

  bool has_book() const { return !book.path.empty(); }
  bool list_visible() const { return has_book() && (list_by_width ? room.wide : list_shown); }
  bool bank_folded() const { return bank.by_room ? !room.tall : bank.folded; }
  const WoundEntry* current_wound() const { return book.find_wound(wound); }
  const FishEntry* current_fish() const { return book.find_fish(fish); }
  /// The course with the desk's unsaved measurement in the place of its visit, if there is one.
  const healing::Course* course() const { return course_ ? &*course_ : nullptr; }
  const healing::Series& series() const { return series_; }
  std::uint64_t course_version() const { return course_version_; }  ///< changes with the course
  int look_of_visit(casebook::Id visit) const;  ///< index in course()->looks, -1: none
  std::optional<Ghost> ghost() const { return ghost_; }
  const std::vector<Nested>& nested() const { return nested_; }
  bool matching_skin() const { return !matching_.empty(); }  ///< the outlines may still move
  const ComparePhoto* compare_photo(casebook::Id visit) const;
  void want_compare_photo(casebook::Id visit);
  /// Reduced picture of a photo in the book for the strip; empty while it is fetched. Asking starts the fetch at the frame's end.
  const cv::Mat* thumbnail(const PhotoEntry& photo) const;
  void want_thumbnail(const PhotoEntry& photo);

  // --- books
  void open_argument(const std::filesystem::path& path);  ///< a book, a photo or a folder of photos, from the command line
  void open_last();                                       ///< the last book, if it is still there
  /// A worker opens it; `then` is run when it is shown, or when it could not be opened.
  void open_book(const std::filesystem::path& path, const std::function<void()>& then = {});
  /// The sample case; the installed one is first copied beside the user's case books.
  void open_sample();
  /// Opens the guide at that page (in the order of guide_pages).
  void show_guide(int page = 0);
  void new_book(const std::filesystem::path& path);
  void close_book();
  void leave();  ///< quits, once everything is saved
  void stay();   ///< neither closes nor quits
  void leave_without_saving();
  /// What waits for the writes ("Closing the case book"), nullptr: nothing.
  const std::string* leaving() const { return leaving_ ? &leaving_->what : nullptr; }
  /// The write that is under way, as its label; nullptr: everything is saved.
  const std::string* saving() const { return writes_.empty() ? nullptr : &writes_.front().label; }
  std::size_t writes_waiting() const { return writes_.size(); }
  void try_again(std::size_t not_saved_index);
  void give_up(std::size_t not_saved_index);
  void select_fish(casebook::Id id);
  void select_wound(casebook::Id id);
  void select_visit(casebook::Id id);
  void step_visit(int by);
  void drop_files(const std::vector<std::filesystem::path>& files);
  void confirm_import();
  void step_fish(int by);
  void open_log();
  void open_dose();
  void open_fish();
  void save_log();
  void save_fish();
  void open_visit();  ///< of the photo on the desk
  void save_visit();
  void open_wound();
  void save_wound();
  // Put aside: into the book's trash, one step of undo.
  void put_photo_aside();  ///< the one on the desk
  void put_wound_aside();
  void put_fish_aside();
  void remove_event(casebook::Id id);
  void write_report(const std::filesystem::path& file);
  void write_card(const std::filesystem::path& file);
  void ask_path(PathForm::Purpose purpose);
  void path_chosen(const std::filesystem::path& path);

  // --- the photo on the desk
  void open_photo(const std::filesystem::path& file, PhotoPlace place = {}, const casebook::MeasureRow* saved = nullptr);
  void choose_tool(ToolId id);
  void press(const Pointer& p);
  void drag(const Pointer& p);
  void release(const Pointer& p);
  void double_click(const Pointer& p);
  void nudge(double dx, double dy);
  void resize_photo(double width, double height);  ///< the panel's size in screen pixels
  void remove_point();
  void find_card();
  void choose_lens(const LensChoice& lens);  ///< the scale is found again with it, and the area measured anew
  void show_lenses(bool shown);
  const scale::KeptProfile* lens_in_use() const;  ///< of `lenses`: the one that the present scale was found with
  void give_scale();                 ///< from scale_form
  void compare_scale();              ///< what scale_form gives for the present margin, beside the scale in use
  bool can_compare_scale() const;
  void propose_margin();
  void read_flat();     ///< without the curve of the flank
  void trace_once_more();  ///< the present trace is kept and the mean of all is taken
  void cancel_jobs();  ///< what was asked for and does not come any more is not waited for
  void undo();
  void redo();
  std::optional<std::string> undo_label() const;  ///< what undo would take back, in the menu's words
  std::optional<std::string> redo_label() const;
  void accept();
  void clear_margin();
  void set_step(Step s);
  void show_outlines(bool outlines);  ///< comparing: every visit's outline in one frame, or two photos side by side

  // --- the rest
  bool key(const KeyPress& press);
  bool run(std::string_view command_id);
  void confirm_form();  ///< Enter in a form
  /// Has a worker look at the watched folder, every two seconds or `at_once`; what is new there comes up for a fish and a date.
  void watch(bool at_once = false);
  void escape();
  void start_tour();
  void first_tour();  ///< unless it was seen
  void next_tour_stop();
  void end_tour();  ///< it does not come again by itself
  void save_settings_now();
  void set_degree_day_base(double celsius);
  DoseResult dose_result() const;
  void tell(Notice::Kind kind, std::string text, std::string advice = {});
  void take_back(std::string_view text);  ///< the notice that says so
  void put_notice_away(std::size_t index);
  /// Once a frame or when something came back: deliveries, autosave. True when something changed.
  bool turn();
  bool idle() const;  ///< no job, no reading, no write
  /// For tests: until it is idle. False after `seconds`.
  bool settle(double seconds = 60);
  std::vector<Jobs::Running> running() const;
  void set_wake(const std::function<void()>& wake);  ///< called from a worker when `turn` has something to do

  Jobs jobs{2};  ///< last, with the three below: their workers end before what they deliver to

 private:
  Jobs reading_{1};  ///< asks the book, and keeps the small files; never cancelled
  Jobs writing_{1};  ///< changes it, in the order of asking (writes.h)
  Jobs outside_{2};  ///< waits for what takes its own time: the desktop's dialog, the watched folder

  struct PhotosOfDay {
    std::optional<DateTime> date;  ///< nothing: the photos' own
    std::vector<std::filesystem::path> files;
  };
  bool bring_up(const std::vector<std::filesystem::path>& files);  ///< false: nothing to ask a fish and a date for
  void take_in(const std::vector<PhotosOfDay>& groups, std::optional<double> water, std::optional<double> weight);

  // --- writes (session_writes.cpp)
  std::uint64_t write(Write write);
  /// `field`: the one that the book refuses when what was typed does not fit it.
  template <class Form>
  void write_form(Write write, std::optional<Form>& form, const char* field = "");
  void carry_out_next();
  void written(const std::optional<Error>& error, std::shared_ptr<BookModel> now);
  void when_saved(std::string what, std::function<void()> then);
  void finish_writing();

  // --- reading (session_book.cpp, session_open.cpp)
  struct Opened;
  struct HowToOpen {
    std::filesystem::path sample{};  ///< copied there first, where nothing stands yet
    bool make = false;               ///< an empty book, where nothing may stand yet
    bool if_there = false;           ///< no word about one that is gone; with `make`: made where it is not there
  };
  void open(const std::filesystem::path& path, const HowToOpen& how, const std::function<void()>& then);
  void not_opened(std::uint64_t number, const std::exception_ptr& why, const std::function<void()>& then);
  void show_book(Opened opened);
  void adopt(std::shared_ptr<BookModel> now);   ///< after a write: keeps what is known of the rest
  void with_fish(casebook::Id id, const std::function<void()>& then);  ///< once its measures are read; the last one asked for counts
  void read_the_rest();
  struct Rest;
  void read_piece(const std::shared_ptr<Rest>& rest);
  void put_book_away();
  void close_record_forms();
  void show_wound(casebook::Id id);
  void recompute_course();
  void recompute_ghost();
  void recompute_nested();
  void match_nested(const std::vector<const PhotoEntry*>& photos);
  void match_ghost(const PhotoEntry& last);
  void commit(const std::string& label, Work work);
  void work_changed();
  void apply(const std::optional<Effect>& effect);
  void find_margin(const Effect& effect);
  /// A finder's result comes back: false, and nothing done but its refusal kept, when the desk or the work is another by now.
  bool take_margin(std::uint64_t of_desk, std::uint64_t generation, const Result<margin::Margin>& found, const std::string& label);
  void refine_margin(const Effect& effect);
  void start_measuring();
  std::optional<measure::ScaleChoice> typed_scale();  ///< nothing: scale_form says what is wrong
  void give_curve();
  void find_scale(const measure::ScaleChoice& choice, bool by_itself, const std::optional<LensChoice>& lens = {});
  void autosave();
  void keep_files_now();
  void restore_unfinished();
  void first_view();
  void photo_failed(const Error& error);
  /// Told when a margin is to be accepted before its photo was taken in, and put away then.
  static constexpr const char* kNotInBook = "This photo is not in the case book yet.";
  /// `taken_in`: the file that it was taken in from; on the desk, it stays there as the photo of the book, with its trace.
  void show_photo(casebook::Id photo, const std::filesystem::path& taken_in = {});
  bool undo_book(bool back);
  void follow_desk();  ///< the photo on the desk may hang under another visit, wound or fish since
  void put_aside(const std::string& what, std::function<void(casebook::Book&)> work, casebook::Id of_fish, casebook::Id of_wound);
  void book_was_undone();
  std::optional<std::string> book_label(bool back) const;
  void restore_measure(const casebook::MeasureRow& row);
  measure::MeasureOptions measure_options() const;
  std::optional<measure::Body> body_of_fish() const;  ///< as the latest measure says it that has one
  const casebook::MeasureRow* accepted_row() const;  ///< the latest measure that the book holds of the photo on the desk
  void trouble(const std::string& label, std::exception_ptr error);

  std::shared_ptr<BookAccess> access_;
  std::deque<Write> writes_;  ///< the first is under way
  std::uint64_t next_write_ = 1;
  bool write_under_way_ = false;
  struct Leaving {
    std::string what;
    std::function<void()> then;
  };
  std::optional<Leaving> leaving_;
  std::uint64_t opening_number_ = 0, fish_request_ = 0;
  casebook::Id coming_wound_ = 0;    ///< chosen, and being read
  std::optional<Token> import_stop_;
  std::optional<healing::Course> course_;
  healing::Series series_;
  std::uint64_t course_version_ = 0;
  std::vector<casebook::Id> look_visits_;
  std::optional<Ghost> ghost_;
  std::vector<Nested> nested_;
  std::map<std::string, std::shared_ptr<const measure::SkinPattern>> skins_;  ///< by photo and measure
  std::map<std::string, std::vector<measure::AlignedVisit>> aligned_;         ///< by all photos and measures of a wound
  struct GhostMatch {
    std::uint64_t desk = 0;
    std::shared_ptr<const scale::PlaneMap> map;
    std::string last;  ///< photo and measure
    bool done = false;
    std::optional<measure::SkinMotion> desk_from_last;
  };
  GhostMatch ghost_match_;
  std::uint64_t book_version_ = 0;  ///< of what was written or opened here
  std::set<std::string> matching_;  ///< keys of `aligned_` that a worker is at
  std::map<casebook::Id, ComparePhoto> compare_photos_;
  std::map<std::string, cv::Mat> thumbnails_;
  std::map<std::string, PhotoEntry> thumbnails_wanted_;
  std::shared_ptr<const UnfinishedTrace> unfinished_;  ///< newest
  std::shared_ptr<KeptFile> kept_unfinished_, kept_settings_;
  std::uint64_t next_desk_ = 1;
  bool wound_view_ = false;
  enum class Change { desk, book } last_change_ = Change::desk;  ///< what undo looks at first
  std::optional<Token> asking_;  ///< the desktop's dialog that is open
  struct Watched;
  std::shared_ptr<Watched> watched_;  ///< the worker's while it looks
  std::chrono::steady_clock::time_point watched_at_{};
};

/// What drawing asks for, applied after the frame.
class Intents {
 public:
  using Intent = std::function<void(Session&)>;
  void add(Intent intent) { list_.push_back(std::move(intent)); }
  void run(std::string command_id) {
    add([id = std::move(command_id)](Session& s) { s.run(id); });
  }
  bool empty() const { return list_.empty(); }
  void apply(Session& session);

 private:
  std::vector<Intent> list_;
};

}  // namespace uroko::app
