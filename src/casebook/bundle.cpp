#include <algorithm>
#include <fstream>
#include <unordered_map>

#include "casebook/archive.h"
#include "casebook/inside.h"
#include "casebook/originals.h"
#include "uroko/base/file.h"
#include "uroko/casebook/keeping.h"

namespace uroko::casebook {

namespace fs = std::filesystem;

namespace {
fs::path parent_of(const fs::path& path) { return path.has_parent_path() ? path.parent_path() : fs::path("."); }
}  // namespace

void write_bundle(const Book& book, const fs::path& target, const Token& token) {
  if (fs::exists(fs::symlink_status(target))) throw Error(Fault::book, "exists", target, "is there already and was not touched", "give another name");
  const auto parent = parent_of(target);
  if (!fs::is_directory(parent)) throw Error(Fault::book, "missing", parent, "there is no such folder", "make it first");
  Scratch scratch(temporary_folder(parent, target.filename().string()));
  const auto snapshot = scratch.path() / "book.sqlite";
  book.database().copy_to(snapshot);
  Manifest manifest;
  manifest.made = DateTime::now().iso();
  manifest.program = "uroko " UROKO_VERSION;
  {
    // Photos as the snapshot names them: what comes in meanwhile belongs to the next backup.
    const Database copy(snapshot, Database::Mode::read);
    manifest.step = copy.version();
    std::error_code error;
    manifest.files.push_back({"book.sqlite", sha256_of_file(snapshot), fs::file_size(snapshot, error)});
    for (const auto& row : copy.rows("SELECT DISTINCT sha256, extension FROM photo ORDER BY sha256", "tt")) {
      const auto &sha = std::get<std::string>(row[0]), &extension = std::get<std::string>(row[1]);
      const auto file = original_path(book.folder(), sha, extension);
      const auto bytes = fs::file_size(file, error);
      if (error) throw Error(Fault::book, "photo-missing", file, "a photo of the book is missing", "run uroko book check; nothing was written");
      manifest.files.push_back({original_path({}, sha, extension).generic_string(), sha, bytes});
    }
  }
  const auto whole = scratch.path() / "bundle";
  write_archive(manifest, snapshot, book.folder(), whole, token);
  read_archive(whole, {}, token);
  move_file(whole, target, true);
  sync_folder(parent);
}

bool looks_like_bundle(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  char magic[4] = {};
  in.read(magic, 4);
  return in.gcount() == 4 && magic[0] == 'P' && magic[1] == 'K' && magic[2] == 3 && magic[3] == 4;
}

void restore_bundle(const fs::path& bundle, const fs::path& given, const Token& token) {
  const auto folder = given.filename().empty() ? given.parent_path() : given;
  if (folder.extension() != ".uroko" || folder.stem().empty())
    throw Error(Fault::usage, "book-name", folder, "a case book's name ends in .uroko", "give a name such as koi.uroko");
  if (fs::exists(fs::symlink_status(folder))) throw Error(Fault::book, "exists", folder, "there is something of that name already and it was not touched", "give another name");
  const auto parent = parent_of(folder);
  if (!fs::is_directory(parent)) throw Error(Fault::book, "missing", parent, "there is no such folder", "make it first");
  Scratch scratch(temporary_folder(parent, folder.filename().string()));
  read_archive(bundle, scratch.path(), token);
  make_folder(scratch.path() / "originals");
  {
    // Everything that opening checks, before the name is given.
    const auto book = Book::open(scratch.path(), Access::read);
    if (const auto dangling = book.database().foreign_key_check(); !dangling.empty()) throw Error(Fault::input, "bundle", bundle, "holds a damaged book (" + dangling.front() + ")", "use another backup");
    for (const auto& row : book.database().rows("SELECT DISTINCT sha256, extension FROM photo", "tt")) {
      const auto &sha = std::get<std::string>(row[0]), &extension = std::get<std::string>(row[1]);
      if (!is_sha256(sha) || !is_extension(extension) || !fs::is_regular_file(original_path(scratch.path(), sha, extension)))
        throw Error(Fault::input, "bundle", bundle, "lacks a photo that its book names", "use another backup");
    }
  }
  sync_folder(scratch.path());
  move_file(scratch.path(), folder, true);
  scratch.keep();
  sync_folder(parent);
}

namespace {

/// Adds `row` unless an equal one (its id apart) is among `there`.
template <class Row> bool add_new(Book& book, Row row, const std::vector<Row>& there, Imported& counts) {
  for (const auto& old : there)
    if (values_of(old) == values_of(row)) {
      ++counts.known;
      return false;
    }
  row.id = 0;
  book.add(row);
  return true;
}

class Merge {
 public:
  Merge(Book& book, const Book& other, const fs::path& files, Imported& counts) : book_(book), other_(other), files_(files), counts_(counts) {}

  void run() {
    for (const auto& fish : other_.fish()) merge(fish);
    std::map<std::string, std::vector<WaterReading>> water;
    for (const auto& reading : other_.all<WaterReading>()) {
      auto [there, fresh] = water.try_emplace(reading.place);
      if (fresh) there->second = book_.water(reading.place);
      counts_.others += add_new(book_, reading, there->second, counts_);
    }
  }

 private:
  void merge(const Fish& theirs) {
    auto fish = theirs;
    if (const auto mine = book_.fish_named(theirs.name)) {
      fish = *mine;
      ++counts_.known;
    } else {
      fish.id = 0;
      book_.add(fish);
      if (const auto owner = owner_label(other_, theirs.id); !owner.empty()) set_owner_label(book_, fish.id, owner);
      ++counts_.fish;
    }
    std::unordered_map<Id, Id> wound_of, visit_of, prescription_of;
    for (const auto& their_wound : other_.wounds(theirs.id)) {
      auto wound = their_wound;
      if (const auto mine = book_.wound_named(fish.id, wound.name)) {
        wound = *mine;
        ++counts_.known;
      } else {
        wound.id = 0;
        wound.fish = fish.id;
        book_.add(wound);
        ++counts_.wounds;
      }
      wound_of[their_wound.id] = wound.id;
    }
    const auto mapped = [&](const std::optional<Id>& wound) -> std::optional<Id> {
      if (!wound || !wound_of.contains(*wound)) return std::nullopt;
      return wound_of[*wound];
    };
    auto my_visits = book_.visits(fish.id);
    for (const auto& their_visit : other_.visits(theirs.id)) {
      auto visit = their_visit;
      const auto mine = std::find_if(my_visits.begin(), my_visits.end(), [&](const Visit& v) { return v.date.day_number() == visit.date.day_number(); });
      if (mine != my_visits.end()) {
        visit = *mine;
        ++counts_.known;
      } else {
        visit.id = 0;
        visit.fish = fish.id;
        book_.add(visit);
        ++counts_.visits;
      }
      visit_of[their_visit.id] = visit.id;
    }
    for (const auto& [their_wound, wound] : wound_of)
      for (const auto& photo : other_.photos(their_wound)) merge(photo, wound, visit_of);
    // Of rows that others point to: the id that each of theirs has here.
    const auto merged = [&](auto row, const auto& mine) {
      row.fish = fish.id;
      row.wound = mapped(row.wound);
      for (const auto& old : mine)
        if (values_of(old) == values_of(row)) {
          ++counts_.known;
          return old.id;
        }
      row.id = 0;
      ++counts_.others;
      return book_.add(row);
    };
    const auto my_prescriptions = book_.prescriptions(fish.id);
    for (const auto& written : other_.prescriptions(theirs.id)) prescription_of[written.id] = merged(written, my_prescriptions);
    const auto my_events = book_.events(fish.id);
    for (auto event : other_.events(theirs.id)) {
      event.fish = fish.id;
      event.wound = mapped(event.wound);
      if (event.prescription) event.prescription = prescription_of.contains(*event.prescription) ? std::optional(prescription_of[*event.prescription]) : std::nullopt;
      counts_.others += add_new(book_, event, my_events, counts_);
    }
    const auto my_weights = book_.weights(fish.id);
    for (auto weight : other_.weights(theirs.id)) {
      weight.fish = fish.id;
      counts_.others += add_new(book_, weight, my_weights, counts_);
    }
    const auto my_swabs = book_.swabs(fish.id);
    for (const auto& their_swab : other_.swabs(theirs.id)) {
      const Id id = merged(their_swab, my_swabs);
      const auto my_findings = book_.findings(id);
      for (auto finding : other_.findings(their_swab.id)) {
        finding.swab = id;
        counts_.others += add_new(book_, finding, my_findings, counts_);
      }
    }
  }

  void merge(const PhotoRow& theirs, Id wound, const std::unordered_map<Id, Id>& visit_of) {
    auto photo = theirs;
    bool known = false;
    for (const auto& old : book_.photos(wound))
      if (old.sha256 == photo.sha256) photo = old, known = true;
    if (known) {
      ++counts_.known;
    } else {
      const auto visit = visit_of.find(theirs.visit);
      if (visit == visit_of.end()) return;
      photo.id = 0;
      photo.wound = wound;
      photo.visit = visit->second;
      if (const auto old = book_.database().row("SELECT extension FROM photo WHERE sha256 = :sha ORDER BY id LIMIT 1", "t", {photo.sha256})) photo.extension = std::get<std::string>((*old)[0]);
      const auto target = original_path(book_.folder(), photo.sha256, photo.extension);
      const auto source = original_path(files_, theirs.sha256, theirs.extension);
      if (!fs::exists(target)) {
        if (!fs::exists(source)) throw Error(Fault::input, "bundle", files_, "lacks a photo that its book names", "get the bundle again from where it was made");
        make_folder(target.parent_path());
        move_file(source, target);
        sync_folder(target.parent_path());
      }
      book_.add(photo);
      ++counts_.photos;
    }
    const auto mine = book_.measures(photo.id);
    for (auto measure : other_.measures(theirs.id)) {
      const bool there = std::any_of(mine.begin(), mine.end(), [&](const MeasureRow& m) {
        return m.made == measure.made && m.area_mm2 == measure.area_mm2 && m.margin_wkt == measure.margin_wkt && m.traced == measure.traced;
      });
      if (there) {
        ++counts_.known;
        continue;
      }
      measure.id = 0;
      measure.photo = photo.id;
      book_.add(measure);
      ++counts_.measures;
    }
  }

  Book& book_;
  const Book& other_;
  fs::path files_;
  Imported& counts_;
};

}  // namespace

Imported import_bundle(Book& book, const fs::path& bundle, const Token& token) {
  if (book.read_only()) throw Error(Fault::book, "read-only", book.folder(), "is open read-only and nothing was changed", "open it for writing");
  Staging staging(book.folder() / "originals");
  const auto folder = staging.path() / "bundle";
  make_folder(folder);
  read_archive(bundle, folder, token);
  Imported counts;
  std::optional<Book> other;
  try {
    other = Book::open(folder, Access::read);
  } catch (const Error& e) {
    throw Error(Fault::input, e.code(), bundle, "holds a book that cannot be read (" + e.happened() + ")", "get the bundle again from where it was made");
  }
  // Photos that a stranger packed must open as photos here, as those of add_photos do.
  for (const auto& photo : other->all<PhotoRow>())
    if (is_sha256(photo.sha256) && is_extension(photo.extension) && fs::exists(original_path(folder, photo.sha256, photo.extension)))
      photo::load(original_path(folder, photo.sha256, photo.extension));
  Book::Step step(book, "Import " + bundle.filename().string());
  Merge(book, *other, folder, counts).run();
  step.commit();
  return counts;
}

}  // namespace uroko::casebook
