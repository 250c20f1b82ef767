#include "uroko/casebook/book.h"

#include <algorithm>

#include "casebook/checks.h"
#include "casebook/inside.h"
#include "uroko/base/text.h"

namespace uroko::casebook {

std::string clean_utf8(const std::string& text) {
  std::string out;
  out.reserve(text.size());
  const auto byte = [&](std::size_t k) { return k < text.size() ? static_cast<unsigned char>(text[k]) : 0u; };
  for (std::size_t k = 0; k < text.size();) {
    const unsigned c = byte(k);
    const std::size_t length = c < 0x80 ? 1 : c >= 0xC2 && c < 0xE0 ? 2 : c >= 0xE0 && c < 0xF0 ? 3 : c >= 0xF0 && c < 0xF5 ? 4 : 0;
    bool good = length > 0 && c != 0;
    for (std::size_t j = 1; j < length && good; ++j) good = (byte(k + j) & 0xC0) == 0x80;
    // Overlong forms, surrogates and what lies beyond U+10FFFF (RFC 3629).
    if (good && ((c == 0xE0 && byte(k + 1) < 0xA0) || (c == 0xED && byte(k + 1) > 0x9F) || (c == 0xF0 && byte(k + 1) < 0x90) || (c == 0xF4 && byte(k + 1) > 0x8F))) good = false;
    if (good) {
      out.append(text, k, length);
      k += length;
    } else {
      out += "\xEF\xBF\xBD";
      ++k;
    }
  }
  return out;
}

Book::Book(std::unique_ptr<Inside> inside) : inside_(std::move(inside)) {}
Book::Book(Book&&) noexcept = default;
Book& Book::operator=(Book&&) noexcept = default;
Book::~Book() = default;

const std::filesystem::path& Book::folder() const { return inside_->folder; }
std::string Book::name() const { return inside_->folder.stem().string(); }
bool Book::read_only() const { return inside_->read_only; }
const std::vector<Warning>& Book::warnings() const { return inside_->warnings; }
Database& Book::database() const { return *inside_->database; }

Book::Step::Step(Book& book, const std::string& label) : book_(book) {
  book_.inside_->need_write();
  book_.inside_->store->begin(label);
}
Book::Step::~Step() {
  if (!done_) book_.inside_->store->rollback();
}
void Book::Step::commit() {
  done_ = true;
  book_.inside_->store->commit();
}

// ---- records

namespace {

const Column kTrashed{"trashed", 't'};

[[noreturn]] void no_such_row(const Database& database, const std::string& table) {
  throw Error(Fault::usage, "no-such-row", database.file(), "there is no such " + table, "look at the list again");
}

/// What the book itself fills in before a row is stored.
template <class Row> void complete(const Database&, Row&) {}
void complete(const Database& database, MeasureRow& row) {
  const auto photo = database.row("SELECT sha256 FROM photo WHERE id = :id", "t", {static_cast<long long>(row.photo)});
  if (!photo) no_such_row(database, "photo");
  row.photo_sha256 = std::get<std::string>((*photo)[0]);
  const auto last = database.row("SELECT COALESCE(MAX(revision), 0) FROM measure WHERE photo = :photo AND traced = :traced", "i", {static_cast<long long>(row.photo), row.traced});
  row.revision = static_cast<int>(std::get<long long>((*last)[0])) + 1;
  if (row.made == DateTime{}) row.made = DateTime::now();
  if (row.program.empty()) row.program = "uroko " UROKO_VERSION;
}

/// A clear word where the unique index would only say "constraint".
template <class Row> void check_unique(const Database&, const Row&) {}
void check_unique(const Database& database, const Fish& row) {
  if (database.row("SELECT id FROM fish WHERE name = :name AND trashed IS NULL AND id <> :id", "i", {row.name, static_cast<long long>(row.id)}))
    throw Error(Fault::usage, "name-taken", database.file(), "there is a fish named " + row.name + " already", "give another name");
}
void check_unique(const Database& database, const Wound& row) {
  if (database.row("SELECT id FROM wound WHERE fish = :fish AND name = :name AND trashed IS NULL AND id <> :id", "i", {static_cast<long long>(row.fish), row.name, static_cast<long long>(row.id)}))
    throw Error(Fault::usage, "name-taken", database.file(), "this fish has a wound named " + row.name + " already", "give another name");
}

bool is_trashed(const Database& database, const std::string& table, Id id) {
  const auto found = database.row("SELECT trashed FROM " + table + " WHERE id = :id", "t", {static_cast<long long>(id)});
  if (!found) no_such_row(database, table);
  return std::holds_alternative<std::string>((*found)[0]);
}

void put_aside(Book& book, Store& store, const std::string& table, Id id, bool aside, const std::string& text) {
  as_step(book, (aside ? "Put into the trash: " : "Take out of the trash: ") + text, [&] {
    const auto& database = book.database();
    if (is_trashed(database, table, id) == aside) return;
    const auto was = database.row("SELECT trashed FROM " + table + " WHERE id = :id", "t", {static_cast<long long>(id)});
    store.change(table, id, {kTrashed}, *was, {aside ? Value{DateTime::now().iso()} : Value{}});
  });
}

}  // namespace

template <class Row> Id Book::add(Row& row) {
  check_row(row);
  as_step(*this, "Add " + what(row), [&] {
    complete(database(), row);
    check_unique(database(), row);
    row.id = inside_->store->insert(Table<Row>::name, columns_of<Row>(), values_of(row));
  });
  return row.id;
}

template <class Row> void Book::update(const Row& row) {
  if constexpr (std::is_same_v<Row, MeasureRow>) throw std::logic_error("a measure is never changed");
  check_row(row);
  as_step(*this, "Change " + what(row), [&] {
    const auto old = find<Row>(row.id);
    if (!old) no_such_row(database(), Table<Row>::name);
    check_unique(database(), row);
    inside_->store->change(Table<Row>::name, row.id, columns_of<Row>(), values_of(*old), values_of(row));
  });
}

template <class Row> std::optional<Row> Book::find(Id id) const {
  auto found = select<Row>(database(), "WHERE t.id = :id", {static_cast<long long>(id)});
  if (found.empty()) return std::nullopt;
  return std::move(found.front());
}

template <class Row> std::vector<Row> Book::all() const { return select<Row>(database(), "WHERE t.trashed IS NULL ORDER BY t.id"); }

template <class Row> void Book::trash(Id id) {
  const auto row = find<Row>(id);
  if (!row) no_such_row(database(), Table<Row>::name);
  put_aside(*this, *inside_->store, Table<Row>::name, id, true, what(*row));
}

template <class Row> void Book::restore(Id id) {
  const auto row = find<Row>(id);
  if (!row) no_such_row(database(), Table<Row>::name);
  check_unique(database(), *row);
  put_aside(*this, *inside_->store, Table<Row>::name, id, false, what(*row));
}

#define UROKO_RECORD(Row)                               \
  template Id Book::add<Row>(Row&);                     \
  template void Book::update<Row>(const Row&);          \
  template std::optional<Row> Book::find<Row>(Id) const; \
  template std::vector<Row> Book::all<Row>() const;     \
  template void Book::trash<Row>(Id);                   \
  template void Book::restore<Row>(Id);
UROKO_RECORD(Fish)
UROKO_RECORD(Wound)
UROKO_RECORD(Visit)
UROKO_RECORD(PhotoRow)
UROKO_RECORD(MeasureRow)
UROKO_RECORD(Event)
UROKO_RECORD(Weight)
UROKO_RECORD(WaterReading)
UROKO_RECORD(Swab)
UROKO_RECORD(Finding)
UROKO_RECORD(Prescription)
#undef UROKO_RECORD

std::vector<TrashItem> Book::trash_list() const {
  std::vector<TrashItem> out;
  for_each_table([&](auto empty) {
    using Row = decltype(empty);
    if constexpr (!std::is_same_v<Row, Setting>) {
      database().each("SELECT t.trashed, " + column_list<Row>() + " FROM " + Table<Row>::name + " t WHERE t.trashed IS NOT NULL ORDER BY t.id", "t" + column_types<Row>(), {},
                      [&](const Values& cells) {
                        const auto row = record_from<Row>(database(), cells, 1);
                        out.push_back({Table<Row>::name, row.id, what(row), DateTime::parse(std::get<std::string>(cells[0])).value_or(DateTime{})});
                      });
    }
  });
  std::stable_sort(out.begin(), out.end(), [](const auto& a, const auto& b) { return before(b.since, a.since); });
  return out;
}

void Book::restore(const TrashItem& item) {
  bool known = false;
  for_each_table([&](auto empty) {
    using Row = decltype(empty);
    if constexpr (!std::is_same_v<Row, Setting>) {
      if (item.record != Table<Row>::name) return;
      known = true;
      restore<Row>(item.id);
    }
  });
  if (!known) no_such_row(database(), item.record);
}

// ---- lists

std::vector<Fish> Book::fish() const { return select<Fish>(database(), "WHERE t.trashed IS NULL ORDER BY t.name"); }

std::optional<Fish> Book::fish_named(const std::string& name) const {
  auto found = select<Fish>(database(), "WHERE t.name = :name AND t.trashed IS NULL", {clean_utf8(name)});
  if (found.empty()) return std::nullopt;
  return std::move(found.front());
}

std::vector<Wound> Book::wounds(Id fish) const { return select<Wound>(database(), "WHERE t.fish = :fish AND t.trashed IS NULL ORDER BY t.name", {static_cast<long long>(fish)}); }

std::optional<Wound> Book::wound_named(Id fish, const std::string& name) const {
  auto found = select<Wound>(database(), "WHERE t.fish = :fish AND t.name = :name AND t.trashed IS NULL", {static_cast<long long>(fish), clean_utf8(name)});
  if (found.empty()) return std::nullopt;
  return std::move(found.front());
}

Fish Book::fish_or_new(const std::string& name) {
  if (auto known = fish_named(name)) return *known;
  Fish fish;
  fish.name = name;
  add(fish);
  return fish;
}

Wound Book::wound_or_new(Id fish, const std::string& name) {
  if (auto known = wound_named(fish, name)) return *known;
  Wound wound;
  wound.fish = fish, wound.name = name;
  add(wound);
  return wound;
}

std::optional<Visit> Book::visit_on(Id fish, const DateTime& day) const {
  auto found = select<Visit>(database(), "WHERE t.fish = :fish AND t.trashed IS NULL AND substr(t.date, 1, 10) = :day ORDER BY t.id LIMIT 1", {static_cast<long long>(fish), day.iso_date()});
  if (found.empty()) return std::nullopt;
  return std::move(found.front());
}

std::vector<Visit> Book::visits(Id fish) const { return select<Visit>(database(), "WHERE t.fish = :fish AND t.trashed IS NULL ORDER BY t.date, t.id", {static_cast<long long>(fish)}); }

std::vector<PhotoRow> Book::photos(Id wound) const {
  return select<PhotoRow>(database(), "JOIN visit v ON v.id = t.visit WHERE t.wound = :wound AND t.trashed IS NULL AND v.trashed IS NULL ORDER BY v.date, v.id, t.taken, t.id", {static_cast<long long>(wound)});
}

std::vector<PhotoRow> Book::photos_of_visit(Id visit) const {
  return select<PhotoRow>(database(), "JOIN wound w ON w.id = t.wound WHERE t.visit = :visit AND t.trashed IS NULL AND w.trashed IS NULL ORDER BY t.taken, t.id", {static_cast<long long>(visit)});
}

std::vector<MeasureRow> Book::measures(Id photo) const { return select<MeasureRow>(database(), "WHERE t.photo = :photo AND t.trashed IS NULL ORDER BY t.id", {static_cast<long long>(photo)}); }

std::optional<MeasureRow> Book::latest_measure(Id photo) const {
  auto found = select<MeasureRow>(database(), "WHERE t.photo = :photo AND t.trashed IS NULL ORDER BY t.id DESC LIMIT 1", {static_cast<long long>(photo)});
  if (found.empty()) return std::nullopt;
  return std::move(found.front());
}

std::vector<PhotoRow> Book::unmeasured() const {
  return select<PhotoRow>(database(),
                          "JOIN visit v ON v.id = t.visit JOIN wound w ON w.id = t.wound JOIN fish f ON f.id = w.fish "
                          "WHERE t.trashed IS NULL AND v.trashed IS NULL AND w.trashed IS NULL AND f.trashed IS NULL "
                          "AND NOT EXISTS (SELECT 1 FROM measure m WHERE m.photo = t.id AND m.trashed IS NULL) ORDER BY f.name, w.name, v.date, t.id");
}

std::vector<Event> Book::events(Id fish) const { return select<Event>(database(), "WHERE t.fish = :fish AND t.trashed IS NULL ORDER BY t.date, t.id", {static_cast<long long>(fish)}); }
std::vector<Weight> Book::weights(Id fish) const { return select<Weight>(database(), "WHERE t.fish = :fish AND t.trashed IS NULL ORDER BY t.date, t.id", {static_cast<long long>(fish)}); }

std::optional<Weight> Book::last_weighed(Id fish) const {
  auto found = select<Weight>(database(), "WHERE t.fish = :fish AND t.method = 'weighed' AND t.trashed IS NULL ORDER BY t.date DESC, t.id DESC LIMIT 1", {static_cast<long long>(fish)});
  if (found.empty()) return std::nullopt;
  return std::move(found.front());
}

std::vector<WaterReading> Book::water(const std::string& place) const { return select<WaterReading>(database(), "WHERE t.place = :place AND t.trashed IS NULL ORDER BY t.date, t.id", {place}); }
std::vector<Swab> Book::swabs(Id fish) const { return select<Swab>(database(), "WHERE t.fish = :fish AND t.trashed IS NULL ORDER BY t.taken, t.id", {static_cast<long long>(fish)}); }
std::vector<Finding> Book::findings(Id swab) const { return select<Finding>(database(), "WHERE t.swab = :swab AND t.trashed IS NULL ORDER BY t.id", {static_cast<long long>(swab)}); }
std::vector<Prescription> Book::prescriptions(Id fish) const {
  return select<Prescription>(database(), "WHERE t.fish = :fish AND t.trashed IS NULL ORDER BY t.written, t.id", {static_cast<long long>(fish)});
}

// ---- settings

std::optional<std::string> Book::setting(const std::string& name) const {
  const auto found = database().row("SELECT content FROM setting WHERE name = :name AND trashed IS NULL", "t", {name});
  if (!found) return std::nullopt;
  return std::get<std::string>((*found)[0]);
}

double Book::setting(const std::string& name, double otherwise) const {
  const auto text = setting(name);
  return text ? parse_number(*text).value_or(otherwise) : otherwise;
}

void Book::set_setting(const std::string& name, const std::string& content) {
  as_step(*this, "Set " + name, [&] {
    // The name stays unique even for a setting that lies in the trash.
    const auto old = select<Setting>(database(), "WHERE t.name = :name", {name});
    if (old.empty()) {
      Setting setting{0, name, content};
      inside_->store->insert("setting", columns_of<Setting>(), values_of(setting));
      return;
    }
    auto columns = columns_of<Setting>();
    columns.push_back(kTrashed);
    auto was = values_of(old.front()), now = values_of(Setting{old.front().id, name, content});
    was.push_back(is_trashed(database(), "setting", old.front().id) ? Value{DateTime::now().iso()} : Value{});
    now.push_back({});
    inside_->store->change("setting", old.front().id, columns, was, now);
  });
}

// ---- undo

std::optional<std::string> Book::can_undo() const {
  if (inside_->read_only) return std::nullopt;
  return inside_->store->label_of("done", "DESC");
}
std::optional<std::string> Book::can_redo() const {
  if (inside_->read_only) return std::nullopt;
  return inside_->store->label_of("undone", "ASC");
}
std::string Book::undo() {
  inside_->need_write();
  return inside_->store->undo();
}
std::string Book::redo() {
  inside_->need_write();
  return inside_->store->redo();
}

std::vector<HistoryStep> Book::history(int limit) const {
  std::vector<HistoryStep> out;
  database().each("SELECT id, made, label, state FROM action ORDER BY id DESC LIMIT :few", "ittt", {static_cast<long long>(limit)}, [&](const Values& row) {
    const auto& state = std::get<std::string>(row[3]);
    using S = HistoryStep::State;
    out.push_back({std::get<long long>(row[0]), DateTime::parse(std::get<std::string>(row[1])).value_or(DateTime{}), std::get<std::string>(row[2]),
                   state == "done" ? S::done : state == "undone" ? S::undone : S::abandoned});
  });
  return out;
}

}  // namespace uroko::casebook
