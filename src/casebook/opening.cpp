// Making and opening a book: everything that must be known before the first statement.
#include <unistd.h>

#include "casebook/inside.h"

namespace uroko::casebook {

namespace fs = std::filesystem;

namespace {

constexpr const char* kFile = "book.sqlite";

fs::path tidy(const fs::path& folder) {
  // "A.uroko/" and "A.uroko" are the same book.
  return folder.filename().empty() ? folder.parent_path() : folder;
}

int newest() { return static_cast<int>(schema_steps().size()); }

void back_up_before(const Database& database, const fs::path& folder, int version) {
  const auto backups = folder / "backups";
  make_folder(backups);
  const auto target = backups / ("before-step-" + std::to_string(version + 1) + "-" + timestamp_for_file() + ".sqlite");
  Scratch partial(target.string() + ".partial");
  std::error_code ignored;
  fs::remove(partial.path(), ignored);
  database.copy_to(partial.path());
  move_file(partial.path(), target);
  sync_folder(backups);
}

/// The schema as the steps up to `version` make it.
std::vector<std::string> schema_at(int version) {
  Database fresh(":memory:", Database::Mode::create);
  for (int step = 0; step < version; ++step) fresh.script(schema_steps()[static_cast<std::size_t>(step)]);
  return fresh.schema();
}

const std::vector<std::string>& newest_schema() {
  static const auto schema = schema_at(newest());  // making it takes as long as all else at opening
  return schema;
}

}  // namespace

std::string timestamp_for_file() {
  std::string text = DateTime::now().iso().substr(0, 19);
  std::erase(text, ':');
  std::erase(text, '-');
  return text;
}

/// One transaction for all steps: the book is at the old version or at the new one.
void migrate(Database& database, int to) {
  database.begin();
  try {
    for (int step = database.version(); step < to; ++step) database.script(schema_steps()[static_cast<std::size_t>(step)]);
    const auto dangling = database.foreign_key_check();
    if (!dangling.empty()) throw Error(Fault::book, "damaged", database.file(), dangling.front(), "restore the latest backup: uroko book restore");
    database.set_version(to);
    database.commit();
  } catch (...) {
    database.rollback();
    throw;
  }
}

bool Book::is_book(const fs::path& folder) { return read_header(tidy(folder) / kFile).kind == Header::Kind::ours; }

Book Book::create(const fs::path& given) {
  const auto folder = tidy(given);
  if (folder.extension() != ".uroko" || folder.stem().empty())
    throw Error(Fault::usage, "book-name", folder, "a case book's name ends in .uroko", "give a name such as koi.uroko");
  if (fs::exists(fs::symlink_status(folder))) throw Error(Fault::book, "exists", folder, "there is something of that name already and it was not touched", "give another name");
  const auto parent = folder.has_parent_path() ? folder.parent_path() : fs::path(".");
  if (!fs::is_directory(parent)) throw Error(Fault::book, "missing", parent, "there is no such folder", "make it first");
  Scratch scratch(temporary_folder(parent, folder.filename().string()));
  {
    Database database(scratch.path() / kFile, Database::Mode::create);
    database.script("PRAGMA application_id=" + std::to_string(kApplicationId));
    migrate(database, newest());
  }
  make_folder(scratch.path() / "originals");
  sync_folder(scratch.path());
  move_file(scratch.path(), folder, true);
  scratch.keep();
  sync_folder(parent);
  return open(folder);
}

Book Book::open(const fs::path& given, Access access) {
  auto inside = std::make_unique<Inside>();
  inside->folder = tidy(given);
  const auto& folder = inside->folder;
  const auto file = folder / kFile;
  const auto warn = [&](const char* code, const std::string& text) { inside->warnings.push_back({code, text}); };
  const auto refuse = [&](const char* code, const std::string& happened, const std::string& advice) { throw Error(Fault::book, code, folder, happened, advice); };

  std::error_code ignored;
  if (!fs::exists(folder, ignored)) refuse("missing", "there is no such case book", "check the name, or make one: uroko book new");
  if (!fs::is_directory(folder, ignored)) refuse("not-a-book", "is not a case book", "a case book is a folder whose name ends in .uroko");
  const auto header = read_header(file);
  switch (header.kind) {
    case Header::Kind::missing: refuse("not-a-book", "holds no book.sqlite and so is not a case book", "check the name"); break;
    case Header::Kind::unreadable: refuse("not-opened", "its book.sqlite cannot be read (" + header.reason + ")", "check the permissions"); break;
    case Header::Kind::not_ours: refuse("not-a-book", "its book.sqlite is not a case book of this program", "check the name; if it was one, restore the latest backup"); break;
    case Header::Kind::damaged: refuse("damaged", "its book.sqlite is damaged (" + header.reason + ")", "restore the latest backup: uroko book restore"); break;
    case Header::Kind::ours: break;
  }
  const bool newer = header.version > newest();
  const bool can_write = ::access(folder.c_str(), W_OK | X_OK) == 0 && ::access(file.c_str(), W_OK) == 0;
  inside->read_only = access != Access::write || !can_write || newer;
  if (newer) warn("newer", "it was written by a newer uroko (step " + std::to_string(header.version) + ", this one knows " + std::to_string(newest()) + "); update uroko to change it");
  if (access == Access::write && !can_write) warn("read-only", "its folder or file is read-only; change the permissions to write in it");
  if (const auto share = network_share(folder); !share.empty())
    warn("network-share", "it lies on a network file system (" + share + "), where locks and saves are not safe; keep it on a local disk and copy backups");

  // A journal left by an interrupted save is rolled back by SQLite even for a reader, where the folder can be written.
  const auto mode = can_write && !newer && access != Access::rescue ? Database::Mode::write : Database::Mode::read;
  std::string damage;
  inside->mode = mode;
  try {
    inside->database = std::make_unique<Database>(file, mode);
    const auto problems = inside->database->quick_check(1);
    if (!problems.empty()) damage = problems.front();
  } catch (const Error& e) {
    if (e.code() == "read-only" || (e.code() == "not-opened" && header.journal))
      refuse("interrupted", "a save was interrupted here and cannot be finished in a read-only place", "copy the whole folder to a place that can be written and open it there");
    if (e.code() != "damaged" && e.code() != "database") throw;
    damage = e.happened();
  }
  if (!damage.empty()) {
    if (access != Access::rescue) refuse("damaged", "the case book is damaged (" + damage + ") and was not touched", "restore the latest backup: uroko book restore; uroko book list --rescue shows what can still be read");
    inside->mode = Database::Mode::immutable;
    inside->database = std::make_unique<Database>(file, Database::Mode::immutable);
    warn("damaged", "it is damaged (" + damage + "); only what can still be read is shown");
  }
  const int version = inside->database->version();
  if (version < 1) refuse("damaged", "its schema step is " + std::to_string(version), "restore the latest backup: uroko book restore");
  // Tables, views or triggers that this program never made would run with its statements.
  if (version <= newest() && access != Access::rescue && inside->database->schema() != (version == newest() ? newest_schema() : schema_at(version)))
    refuse("damaged", "its tables are not those of schema step " + std::to_string(version) + "; it was not touched", "restore the latest backup: uroko book restore");
  if (version < newest()) {
    if (inside->read_only) {
      inside->database = inside->database->copy_in_memory();
      inside->mode.reset();
      migrate(*inside->database, newest());
    } else {
      back_up_before(*inside->database, folder, version);
      migrate(*inside->database, newest());
      warn("migrated", "it was brought from step " + std::to_string(version) + " to " + std::to_string(newest()) + "; the state before lies in its folder backups");
    }
  }
  inside->store = std::make_unique<Store>(*inside->database);
  return Book(std::move(inside));
}

Book Book::reader() const {
  auto inside = std::make_unique<Inside>();
  inside->folder = folder();
  inside->mode = inside_->mode;
  inside->read_only = true;
  inside->warnings = warnings();
  inside->database = inside->mode ? std::make_unique<Database>(folder() / kFile, *inside->mode) : database().copy_in_memory();
  inside->store = std::make_unique<Store>(*inside->database);
  return Book(std::move(inside));
}

}  // namespace uroko::casebook
