#pragma once
#include <filesystem>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <unordered_map>
#include <vector>

#include "uroko/base/error.h"
#include "uroko/base/estimate.h"
#include "uroko/base/token.h"
#include "uroko/casebook/records.h"
#include "uroko/healing/series.h"

namespace uroko::casebook {

class Database;

enum class Access {
  write,   ///< where the folder allows it; otherwise the book opens read-only with a warning
  read,    ///< read-only, nothing on disk is touched
  rescue,  ///< read-only, and a damaged book is opened as far as it can be read
};

/// Kinds of care events: cleaning, debridement, topical, injection, sealing, swab, water change, water treatment, salt, sedation, other.
const std::vector<std::string>& care_kinds();

/// Photos for one wound. Visits are found or made by the photo's civil date.
struct NewPhotos {
  std::vector<std::filesystem::path> files;
  std::string fish, wound;          ///< names; made when unknown
  std::optional<DateTime> date;     ///< instead of the photos' own
  std::optional<double> water_c;    ///< of the visit(s)
  std::optional<double> weight_g;   ///< weighed at the (first) visit
};
struct AddedPhoto {
  std::filesystem::path file;
  Id photo = 0, visit = 0;
  std::string sha256;
  bool already = false;             ///< it was there before; nothing was added
  std::string already_at;           ///< "fish, wound" where it was
  DateTime date;
  photo::DateSource date_from = photo::DateSource::none;
  std::optional<Error> error;       ///< this file was not added, the others were
};

/// A whole fish as the lists show it.
struct VisitSummary {
  Visit visit;
  std::vector<PhotoRow> photos;               ///< of the wound it hangs under
  std::optional<Estimate> area_mm2;           ///< the visit's area: see Book::series_of
};
struct WoundSummary {
  Wound wound;
  std::vector<VisitSummary> visits;           ///< by date; those with a photo of this wound
};
struct FishSummary {
  Fish fish;
  std::vector<WoundSummary> wounds;
  std::vector<Visit> visits_without_photo;
};

/// One line of the first screen.
struct WoundGlance {
  Id fish = 0, wound = 0;
  std::string fish_name, wound_name;
  int visits = 0, photos = 0, unmeasured = 0;
  std::optional<DateTime> last_visit;
  std::optional<double> last_area_mm2, last_u_mm2;
  bool closed = false;
};

/// One step of undo.
struct HistoryStep {
  Id id = 0;
  DateTime made;
  std::string label;
  enum class State { done, undone, abandoned } state = State::done;
};

/// What stands in the trash.
struct TrashItem {
  std::string record;  ///< "fish", "wound", "visit", "photo", "measure", "event", ...
  Id id = 0;
  std::string text;    ///< what it is, for a list
  DateTime since;
};

/// A case book: a folder NAME.uroko with book.sqlite and originals/ab/<sha256>.ext. Every change is saved on disk (fsync) when the call
/// returns and is one step of undo. Trouble with the book throws Error(Fault::book); bad values throw Error(Fault::usage).
/// Not for use from two threads at once; open it twice instead.
class Book {
 public:
  /// Makes the folder whole or not at all. Throws when something of that name exists.
  static Book create(const std::filesystem::path& folder);
  /// Migrates an older book (after a backup in its folder). Refuses damaged files, files that are not a case book; a newer one opens read-only.
  static Book open(const std::filesystem::path& folder, Access access = Access::write);
  static bool is_book(const std::filesystem::path& folder);  ///< looks like one from outside
  /// A second connection to this book, for another thread that only reads; without the checks that opening made.
  Book reader() const;
  Book(Book&&) noexcept;
  Book& operator=(Book&&) noexcept;
  ~Book();

  const std::filesystem::path& folder() const;
  std::string name() const;  ///< the folder's name without .uroko
  bool read_only() const;
  /// What the user should know about this opening: read-only and why, network share, migrated, damaged.
  const std::vector<Warning>& warnings() const;

  // ---- records. Row: Fish, Wound, Visit, PhotoRow, MeasureRow, Event, Weight, WaterReading, Swab, Finding, Prescription
  /// Stores a new row; fills in its id (and a measure's revision).
  template <class Row> Id add(Row& row);
  template <class Row> Id add(Row&& row) { return add<Row>(static_cast<Row&>(row)); }
  /// Writes a changed row. A measure cannot be changed: add a new revision.
  template <class Row> void update(const Row& row);
  /// A row by id, trashed or not.
  template <class Row> std::optional<Row> find(Id id) const;
  /// Every row that is not in the trash, by id (rows below a trashed fish are left out only by the lists below).
  template <class Row> std::vector<Row> all() const;
  template <class Row> void trash(Id id);
  template <class Row> void restore(Id id);
  std::vector<TrashItem> trash_list() const;
  void restore(const TrashItem& item);

  std::vector<Fish> fish() const;  ///< by name
  std::optional<Fish> fish_named(const std::string& name) const;
  std::vector<Wound> wounds(Id fish) const;
  std::optional<Wound> wound_named(Id fish, const std::string& name) const;
  Fish fish_or_new(const std::string& name);             ///< stored when there is none of that name
  Wound wound_or_new(Id fish, const std::string& name);  ///< the same
  std::vector<Visit> visits(Id fish) const;       ///< by date, as the lists below
  std::optional<Visit> visit_on(Id fish, const DateTime& day) const;  ///< by the civil day
  std::vector<PhotoRow> photos(Id wound) const;
  std::vector<PhotoRow> photos_of_visit(Id visit) const;
  std::vector<MeasureRow> measures(Id photo) const;  ///< all revisions, oldest first
  std::optional<MeasureRow> latest_measure(Id photo) const;
  std::vector<PhotoRow> unmeasured() const;       ///< photos without any measure
  std::vector<Event> events(Id fish) const;
  std::vector<Weight> weights(Id fish) const;
  std::optional<Weight> last_weighed(Id fish) const;  ///< the last with method "weighed"
  std::vector<WaterReading> water(const std::string& place) const;
  std::vector<Swab> swabs(Id fish) const;
  std::vector<Finding> findings(Id swab) const;
  std::vector<Prescription> prescriptions(Id fish) const;
  std::vector<FishSummary> everything() const;    ///< the whole tree, in a handful of queries
  std::vector<WoundGlance> glance() const;        ///< the first screen: one line a wound, last visit first

  // ---- photos
  /// Copies the files in (hashed, decoded once to prove them sound, fsynced) and stores their rows, all as one step.
  std::vector<AddedPhoto> add_photos(const NewPhotos& photos, const Token& token = {});
  /// Says anew on which day a photo was taken and of which wound it is. It goes to the fish's visit of that day, which is made when there is none; a visit
  /// that is left without photos is put aside, what it says going along where the other says nothing. The measures stay with the photo. One step of undo;
  /// returns the photo's visit. Throws Error(Fault::usage) for unknown rows and when that wound has the photo already.
  Id move_photo(Id photo, const DateTime& date, Id wound);
  /// Into the trash, and with it a visit that then holds nothing. One step of undo.
  void put_photo_aside(Id photo);
  /// Where the original stands; it is read-only. Throws Error(Fault::book) when the book has no such photo.
  std::filesystem::path photo_file(const std::string& sha256) const;
  std::unordered_map<std::string, std::filesystem::path> photo_files() const;  ///< of all photos, by SHA-256, in one query

  // ---- what the curve needs
  /// Looks: one a visit (and side of a debridement on that day) from the latest measures, traced margin as the wound says. Several photos of one
  /// look give their mean; its u is the larger of their root mean square u (their errors share the card and the eye) and the standard error of their spread.
  healing::Series series_of(Id wound) const;

  // ---- settings of the book: numbers by name; see due.h and dose.h for the names that mean something
  std::optional<std::string> setting(const std::string& name) const;
  double setting(const std::string& name, double otherwise) const;
  void set_setting(const std::string& name, const std::string& content);

  // ---- undo, kept in the book and so across restarts; unlimited
  std::optional<std::string> can_undo() const;  ///< the label of what would be undone
  std::optional<std::string> can_redo() const;
  std::string undo();                           ///< returns the label. Throws Error(Fault::usage) when there is nothing
  std::string redo();
  std::vector<HistoryStep> history(int limit = 100) const;  ///< newest first

  /// Joins all changes until `commit` into one step with one label; without commit they are rolled back. Steps may nest: the outer one counts.
  class Step {
   public:
    Step(Book& book, const std::string& label);
    ~Step();
    Step(const Step&) = delete;
    Step& operator=(const Step&) = delete;
    void commit();

   private:
    Book& book_;
    bool done_ = false;
  };

  /// For the room's own files.
  Database& database() const;

 private:
  struct Inside;
  explicit Book(std::unique_ptr<Inside> inside);
  std::unique_ptr<Inside> inside_;
};

/// What is printed as the owner of a fish: the label of that fish, else the book's, else empty. Kept as settings, so that it can be changed and undone.
std::string owner_label(const Book& book, Id fish);
void set_owner_label(Book& book, Id fish, const std::string& label);
/// The book's setting that holds the label of all fish that have none of their own.
inline constexpr const char* kOwnerLabel = "owner_label";

}  // namespace uroko::casebook
