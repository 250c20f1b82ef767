#include "uroko/casebook/keeping.h"

#include <archive.h>
#include <archive_entry.h>
#include <catch2/catch.hpp>
#include <fstream>
#include <nlohmann/json.hpp>
#include <set>

#include "casebook/database.h"
#include "casebook/made.h"
#include "casebook/stored.h"
#include "support/temp_folder.h"
#include "uroko/base/csv.h"
#include "uroko/base/file.h"
#include "uroko/photo/photo.h"

using namespace uroko;
using namespace uroko::casebook;
using uroko::casebook::testing::day;
using uroko::casebook::testing::small_photo;
using uroko::testing::TempFolder;
namespace fs = std::filesystem;

namespace {

Book sample_book(const TempFolder& temp, const std::string& name) {
  auto book = Book::create(temp / name);
  NewPhotos photos;
  photos.files = {small_photo(temp, "a.jpg", 10), small_photo(temp, "b.jpg", 200)};
  photos.fish = "A", photos.wound = "left", photos.date = day("2026-03-02"), photos.water_c = 18.5, photos.weight_g = 2400;
  const auto added = book.add_photos(photos);
  MeasureRow measure;
  measure.photo = added[0].photo;
  measure.area_mm2 = 456.5, measure.u_mm2 = 4, measure.low95 = 448, measure.high95 = 464;
  measure.margin_wkt = "POLYGON((1 1,20 1,20 20,1 1))";
  book.add(measure);
  book.add(Event{0, *&book.fish()[0].id, {}, day("2026-03-02"), "salt", "", "=2+3 g/L", {}});
  Swab swab;
  swab.fish = book.fish()[0].id, swab.taken = day("2026-03-02");
  book.add(swab);
  book.add(Finding{0, swab.id, "as reported", "agent", "S", ""});
  return book;
}

/// A zip of whatever entries a test wants.
struct Packed {
  std::string path, bytes;
  unsigned type = AE_IFREG;
};
void pack(const fs::path& file, const std::vector<Packed>& entries) {
  auto* zip = archive_write_new();
  archive_write_set_format_zip(zip);
  archive_write_open_filename(zip, file.c_str());
  for (const auto& e : entries) {
    auto* entry = archive_entry_new();
    archive_entry_set_pathname(entry, e.path.c_str());
    archive_entry_set_filetype(entry, e.type);
    archive_entry_set_perm(entry, 0644);
    if (e.type == AE_IFLNK) archive_entry_set_symlink(entry, e.bytes.c_str());
    else archive_entry_set_size(entry, static_cast<la_int64_t>(e.bytes.size()));
    archive_write_header(zip, entry);
    if (e.type == AE_IFREG) archive_write_data(zip, e.bytes.data(), e.bytes.size());
    archive_entry_free(entry);
  }
  archive_write_free(zip);
}
std::string manifest(const std::vector<Packed>& files) {
  nlohmann::json out = {{"format", "uroko case book bundle"}, {"version", 1}, {"made", "2026-03-02"}, {"program", "test"}, {"step", 4}, {"files", nlohmann::json::array()}};
  for (const auto& f : files) out["files"].push_back({{"path", f.path}, {"bytes", f.bytes.size()}, {"sha256", sha256_hex(f.bytes)}});
  return out.dump();
}

int files_below(const fs::path& folder) {
  int count = 0;
  for (const auto& entry : fs::recursive_directory_iterator(folder)) count += entry.is_regular_file();
  return count;
}

}  // namespace

TEST_CASE("photos come in once, by their content, as read-only copies, their rows say where the date came from") {
  TempFolder temp;
  auto book = sample_book(temp, "koi.uroko");
  const auto bytes = read_file(temp / "a.jpg");
  const auto copy = book.photo_file(sha256_hex(bytes));
  CHECK(read_file(copy) == bytes);
  CHECK((fs::status(copy).permissions() & fs::perms::owner_write) == fs::perms::none);
  CHECK(copy.parent_path().filename() == sha256_hex(bytes).substr(0, 2));

  NewPhotos again;
  again.files = {temp / "a.jpg"};
  again.fish = "B", again.wound = "other", again.date = day("2026-03-09");
  const auto added = book.add_photos(again);
  REQUIRE(added.size() == 1);
  CHECK(added[0].already);
  CHECK(added[0].already_at == "A, left");
  CHECK_FALSE(book.fish_named("B"));
  CHECK(book.everything()[0].wounds[0].visits.size() == 1);
  CHECK(book.last_weighed(book.fish()[0].id)->grams == 2400);

  // Another wound of the same fish may be on the same photo.
  again.fish = "A", again.wound = "tail";
  CHECK_FALSE(book.add_photos(again)[0].already);
  CHECK(check(book.folder()).ok());
}

TEST_CASE("a photo that cannot be opened is named and not added, the others are") {
  TempFolder temp;
  auto book = Book::create(temp / "koi.uroko");
  write_file_whole(temp / "text.jpg", "not a photo");
  const auto whole = read_file(small_photo(temp, "a.jpg", 10));
  write_file_whole(temp / "half.jpg", whole.substr(0, whole.size() / 2));
  NewPhotos photos;
  photos.files = {temp / "text.jpg", temp / "a.jpg", temp / "half.jpg", temp / "none.jpg"};
  photos.fish = "A", photos.wound = "left", photos.date = day("2026-03-02");
  const auto added = book.add_photos(photos);
  REQUIRE(added.size() == 4);
  for (const int k : {0, 2, 3}) {
    REQUIRE(added[k].error);
    CHECK(added[k].error->exit_code() == 3);
  }
  CHECK_FALSE(added[1].error);
  CHECK(files_below(book.folder() / "originals") == 1);
  CHECK(check(book.folder()).ok());
}

TEST_CASE("adding photos is one undo, adding them again takes them out of the trash's shadow") {
  TempFolder temp;
  auto book = Book::create(temp / "koi.uroko");
  NewPhotos photos;
  photos.files = {small_photo(temp, "a.jpg", 10), small_photo(temp, "b.jpg", 200)};
  photos.fish = "A", photos.wound = "left", photos.date = day("2026-03-02");
  book.add_photos(photos);
  CHECK(book.undo() == "Add 2 photos of A, left");
  CHECK(book.everything().empty());
  CHECK(check(book.folder()).ok());
  CHECK_FALSE(book.add_photos(photos)[0].already);
  CHECK(book.everything()[0].wounds[0].visits[0].photos.size() == 2);
}

TEST_CASE("check finds a changed photo, a missing one and a foreign file, and changes nothing") {
  TempFolder temp;
  std::vector<fs::path> originals;
  {
    auto book = sample_book(temp, "koi.uroko");
    for (const auto& entry : fs::recursive_directory_iterator(book.folder() / "originals"))
      if (entry.is_regular_file()) originals.push_back(entry.path());
  }
  const auto folder = temp / "koi.uroko";
  CHECK(check(folder).ok());
  CHECK(check(folder).photos == 2);
  REQUIRE(originals.size() == 2);
  fs::permissions(originals[0], fs::perms::owner_all);
  std::ofstream(originals[0], std::ios::app) << "x";
  fs::remove(originals[1]);
  std::ofstream(folder / "originals" / "stray.txt") << "x";
  const auto report = check(folder);
  REQUIRE(report.problems.size() == 3);
  std::set<std::string> codes;
  for (const auto& p : report.problems) codes.insert(p.code);
  CHECK(codes == std::set<std::string>{"photo-changed", "photo-missing", "foreign-file"});
}

TEST_CASE("a backup is restored to the same records and photos, and never over something") {
  TempFolder temp;
  auto book = sample_book(temp, "koi.uroko");
  write_bundle(book, temp / "koi.backup");
  CHECK_THROWS_AS(write_bundle(book, temp / "koi.backup"), Error);
  restore_bundle(temp / "koi.backup", temp / "again.uroko");
  CHECK_THROWS_AS(restore_bundle(temp / "koi.backup", temp / "again.uroko"), Error);
  const auto again = Book::open(temp / "again.uroko");
  CHECK(to_csv(again) == to_csv(book));
  CHECK(again.can_undo() == book.can_undo());
  CHECK(check(temp / "again.uroko").ok());
  // Only the backup, the books and the two photos: nothing half-made is left.
  int entries = 0;
  for (const auto& entry : fs::directory_iterator(temp.path())) entries += !entry.path().empty();
  CHECK(entries == 5);
}

TEST_CASE("a bundle comes into another book once, the second time everything is there already") {
  TempFolder temp;
  auto book = sample_book(temp, "koi.uroko");
  write_bundle(book, temp / "koi.bundle");
  auto other = Book::create(temp / "other.uroko");
  const auto first = import_bundle(other, temp / "koi.bundle");
  CHECK(first.photos == 2);
  CHECK(first.measures == 1);
  CHECK(to_csv(other) == to_csv(book));
  CHECK(check(other.folder()).ok());
  CHECK(import_bundle(other, temp / "koi.bundle").added() == 0);
  CHECK(other.undo() == "Import koi.bundle");
  CHECK(other.everything().empty());
}

TEST_CASE("hostile bundles are refused whole: traversal, links, duplicates, wrong hashes, extras, bombs, missing parts") {
  TempFolder temp;
  auto book = sample_book(temp, "koi.uroko");
  write_bundle(book, temp / "good");
  const auto db = read_file(temp / "koi.uroko" / "book.sqlite");
  const Packed base{"book.sqlite", db};
  const std::string sha = sha256_hex("photo");
  const Packed photo{"originals/" + sha.substr(0, 2) + "/" + sha + ".jpg", "photo"};
  const auto with = [&](std::vector<Packed> listed, std::vector<Packed> packed) {
    packed.insert(packed.begin(), {"manifest.json", manifest(listed)});
    return packed;
  };
  auto wrong = base;
  wrong.bytes.back() ^= 1;
  const std::vector<std::pair<const char*, std::vector<Packed>>> cases = {
      {"no manifest", {base}},
      {"manifest not first", {base, {"manifest.json", manifest({base})}}},
      {"manifest no JSON", {{"manifest.json", "{"}, base}},
      {"no database", with({photo}, {photo})},
      {"traversal listed", with({base, {"../evil", "x"}}, {base, {"../evil", "x"}})},
      {"traversal unlisted", with({base}, {base, {"../evil", "x"}})},
      {"absolute", with({base, {"/tmp/evil", "x"}}, {base, {"/tmp/evil", "x"}})},
      {"traversal in originals", with({base, {"originals/../../evil", "x"}}, {base, {"originals/../../evil", "x"}})},
      {"link", with({base, {photo.path, "photo"}}, {base, {photo.path, "/etc/passwd", AE_IFLNK}})},
      {"folder", with({base}, {base, {"originals/", "", AE_IFDIR}})},
      {"twice", with({base}, {base, base})},
      {"listed twice", with({base, base}, {base})},
      {"wrong hash", with({base}, {wrong})},
      {"name is not the hash", with({base, {"originals/00/" + std::string(64, '0') + ".jpg", "photo"}}, {base, {"originals/00/" + std::string(64, '0') + ".jpg", "photo"}})},
      {"longer than listed", with({{"book.sqlite", "x"}}, {base})},
      {"bomb", with({{"book.sqlite", "x"}}, {{"book.sqlite", std::string(64 << 20, '\0')}})},
      {"photo missing", with({base, photo}, {base})},
      {"photo unlisted", with({base}, {base, photo})},
      {"program in place of a photo", with({base, {"originals/" + sha.substr(0, 2) + "/" + sha + ".sh/x", "photo"}}, {base})},
      {"no case book in it", with({{"book.sqlite", "text"}}, {{"book.sqlite", "text"}})},
  };
  for (const auto& [name, entries] : cases) {
    INFO(name);
    pack(temp / "bad", entries);
    CHECK_THROWS_AS(restore_bundle(temp / "bad", temp / "new.uroko"), Error);
    CHECK_FALSE(fs::exists(temp / "new.uroko"));
    auto target = Book::open(temp / "koi.uroko");
    const auto before = to_csv(target);
    CHECK_THROWS_AS(import_bundle(target, temp / "bad"), Error);
    CHECK(to_csv(target) == before);
    CHECK_FALSE(fs::exists(temp.path().parent_path() / "evil"));
    CHECK_FALSE(fs::exists(temp / "evil"));
  }
  const auto good = read_file(temp / "good");
  for (const double part : {0.0, 0.1, 0.5, 0.9}) {
    INFO("cut at " << part);
    write_file_whole(temp / "cut", good.substr(0, static_cast<std::size_t>(part * static_cast<double>(good.size()))));
    CHECK_THROWS_AS(restore_bundle(temp / "cut", temp / "new.uroko"), Error);
    CHECK_FALSE(fs::exists(temp / "new.uroko"));
  }
  // Where only the zip's closing directory is cut off every file is still proved by its hash, and the book is whole.
  write_file_whole(temp / "cut", good.substr(0, good.size() - 20));
  restore_bundle(temp / "cut", temp / "new.uroko");
  CHECK(to_csv(Book::open(temp / "new.uroko")) == to_csv(book));
}

TEST_CASE("a table goes out and comes back the same, formulas neutralised on the way") {
  TempFolder temp;
  auto book = sample_book(temp, "koi.uroko");
  Fish odd{0, "=HYPERLINK(\"x\")", "+variety"};
  odd.note = "two\nlines, and \"quotes\"";
  book.add(odd);
  const auto table = to_csv(book);
  for (const auto& row : parse_csv(table))
    for (const auto& cell : row)
      if (!cell.empty() && (cell[0] == '=' || cell[0] == '+' || cell[0] == '@')) FAIL("a cell that runs: " << cell);
  write_file_whole(temp / "book.csv", table);
  auto other = Book::create(temp / "other.uroko");
  const auto brought = import_csv(other, temp / "book.csv");
  CHECK(brought.fish == 2);
  CHECK(brought.notes.size() == 1);  // the area's photo is not in this book
  CHECK(other.fish_named("=HYPERLINK(\"x\")")->note == odd.note);
  CHECK(other.events(other.fish_named("A")->id)[0].note == "=2+3 g/L");
  CHECK(other.visits(other.fish_named("A")->id)[0].water_c == 18.5);
  CHECK(import_csv(other, temp / "book.csv").added() == 0);
  // Into the book itself: everything is there already.
  CHECK(import_csv(book, temp / "book.csv").added() == 0);
}

TEST_CASE("a table with a fault is refused with its row and nothing of it is stored") {
  TempFolder temp;
  auto book = Book::create(temp / "koi.uroko");
  for (const auto* text : {"fish,date,event\nA,2026-03-02,cleaning\nB,2026-13-02,cleaning\n", "fish,date,event\nA,2026-03-02,conjuring\n", "fish,when\nA,2026-03-02\n", "fish,date\nA\n", "",
                           "fish,date,weight_g\nA,2026-03-02,heavy\n", "fish,date\nA,\"2026", "date\n2026-03-02\n"}) {
    INFO(text);
    write_file_whole(temp / "bad.csv", text);
    try {
      import_csv(book, temp / "bad.csv");
      FAIL("taken");
    } catch (const Error& e) {
      CHECK(e.exit_code() == 3);
    }
    CHECK(book.fish().empty());
    CHECK_FALSE(book.can_undo());
  }
}

TEST_CASE("a book of every earlier schema step is brought up with all it held, after a backup") {
  const int newest = static_cast<int>(schema_steps().size());
  REQUIRE(newest >= 4);
  for (int step = 1; step < newest; ++step) {
    INFO("step " << step);
    TempFolder temp;
    const auto folder = uroko::casebook::testing::stored_book(temp / "koi.uroko", step);
    const auto before = read_file(folder / "book.sqlite");
    {
      // Reading alone changes nothing on the disk.
      const auto reading = Book::open(folder, Access::read);
      CHECK(reading.series_of(1).looks.size() == 2);
      CHECK(read_file(folder / "book.sqlite") == before);
      CHECK_FALSE(fs::exists(folder / "backups"));
    }
    auto book = Book::open(folder);
    CHECK(book.database().version() == newest);
    CHECK(book.fish_named("Sumi")->length_mm == 540.0);
    CHECK(book.wounds(1)[0].traced_margin == kScaledSkin);
    const auto measures = book.measures(1);
    REQUIRE(measures.size() == 2);
    CHECK(measures[1].area_mm2 == 450.25);
    CHECK(measures[0].photo_sha256 == std::string(64, 'a'));
    CHECK(book.series_of(1).looks[0].area_mm2 == 450.25);
    CHECK(book.events(1).size() == 2);
    CHECK(book.last_weighed(1).has_value() == (step >= 3));
    if (step >= 2) {
      CHECK(book.undo() == "Change fish Sumi");
      CHECK(book.fish_named("Sumi")->note.empty());
    }
    CHECK(book.database().integrity_check(10).empty());
    CHECK(book.database().foreign_key_check().empty());
    // The backup is the book as it was.
    int backups = 0;
    for (const auto& entry : fs::directory_iterator(folder / "backups")) {
      ++backups;
      const Database old(entry.path(), Database::Mode::read);
      CHECK(old.version() == step);
      CHECK(old.rows("SELECT id FROM measure", "i").size() == 3);
    }
    CHECK(backups == 1);
  }
}

TEST_CASE("a newer book opens read-only and says so, one that is not ours, empty, or tampered with is refused untouched") {
  TempFolder temp;
  const auto folder = temp / "koi.uroko";
  { sample_book(temp, "koi.uroko"); }
  const auto file = folder / "book.sqlite";
  const auto good = read_file(file);
  const auto put = [&](const std::string& bytes) { write_file_whole(file, bytes); };
  const auto code = [&](Access access) -> std::string {
    try {
      const auto book = Book::open(folder, access);
      return book.read_only() ? "read-only" : "open";
    } catch (const Error& e) {
      CHECK(e.exit_code() == 4);
      return e.code();
    }
  };
  CHECK(code(Access::write) == "open");
  auto newer = good;
  newer[63] = 99;  // user_version
  put(newer);
  CHECK(code(Access::write) == "read-only");
  {
    auto book = Book::open(folder);
    CHECK(book.fish().size() == 1);
    CHECK(book.warnings().at(0).code == "newer");
    CHECK_THROWS_AS(book.add(Fish{0, "C"}), Error);
  }
  CHECK(read_file(file) == newer);
  for (const auto& [what, bytes] : {std::pair<std::string, std::string>{"empty", ""}, {"text", "hello, this is no database at all"}, {"other program", [&] { auto b = good; b[68] = 0; return b; }()}}) {
    INFO(what);
    put(bytes);
    CHECK(code(Access::write) == "not-a-book");
    CHECK(read_file(file) == bytes);
  }
  auto wal = good;
  wal[18] = wal[19] = 2;
  put(wal);
  CHECK(code(Access::write) == "damaged");
  CHECK(read_file(file) == wal);
  put(good.substr(0, good.size() / 2));
  CHECK(code(Access::write) == "damaged");
  CHECK(code(Access::read) == "damaged");
  put(good);
  {
    Database database(file, Database::Mode::write);
    database.script("CREATE TRIGGER t AFTER UPDATE ON fish BEGIN DELETE FROM measure; END");
  }
  CHECK(code(Access::write) == "damaged");
  CHECK(Book::open(folder, Access::rescue).fish().size() == 1);
  CHECK_THROWS_AS(Book::open(temp / "none.uroko"), Error);
  CHECK_THROWS_AS(Book::open(temp / "a.jpg"), Error);
  CHECK_THROWS_AS(Book::open(temp.path()), Error);
}

TEST_CASE("network file systems are told by the kernel's magic numbers") {
  // linux/magic.h: NFS_SUPER_MAGIC, CIFS_SUPER_MAGIC, SMB2_SUPER_MAGIC, V9FS_MAGIC, EXT4_SUPER_MAGIC, TMPFS_MAGIC, BTRFS_SUPER_MAGIC
  CHECK(network_share_name(0x6969) == "NFS");
  CHECK(network_share_name(0xFF534D42) == "CIFS");
  CHECK(network_share_name(0xFFFFFFFFFF534D42UL) == "CIFS");  // sign-extended f_type
  CHECK(network_share_name(0xFE534D42) == "SMB2");
  CHECK(network_share_name(0x01021997) == "9P");
  for (const unsigned long local : {0xEF53UL, 0x01021994UL, 0x9123683EUL}) CHECK(network_share_name(local).empty());
}
