#include "casebook/store.h"

#include <algorithm>
#include <fmt/format.h>
#include <limits>
#include <nlohmann/json.hpp>

namespace uroko::casebook {

using nlohmann::json;

namespace {

json to_json(const Value& value) {
  if (const auto* i = std::get_if<long long>(&value)) return *i;
  if (const auto* d = std::get_if<double>(&value)) return *d;
  if (const auto* s = std::get_if<std::string>(&value)) return *s;
  return nullptr;
}

/// An object's text, cell by cell: the destructor of a whole json object allocates, and so ends the program when memory has run out.
class JsonText {
 public:
  void add(const std::string& name, const Value& value) { text_ += (text_.empty() ? "{" : ",") + json(name).dump() + ":" + to_json(value).dump(); }
  std::string text() const { return text_.empty() ? "{}" : text_ + "}"; }

 private:
  std::string text_;
};

/// Reads such an object into cells without making one, for the same reason. Nothing nested, no truth values: the history has none.
class CellsReader final : public json::json_sax_t {
 public:
  std::vector<std::pair<std::string, Value>> cells;

  bool null() override { return cell({}); }
  bool boolean(bool) override { return false; }
  bool number_integer(number_integer_t value) override { return cell(static_cast<long long>(value)); }
  bool number_unsigned(number_unsigned_t value) override { return value <= static_cast<number_unsigned_t>(std::numeric_limits<long long>::max()) && cell(static_cast<long long>(value)); }
  bool number_float(number_float_t value, const string_t&) override { return cell(value); }
  bool string(string_t& value) override { return cell(value); }
  bool binary(binary_t&) override { return false; }
  bool start_object(std::size_t) override { return !std::exchange(inside_, true); }
  bool key(string_t& name) override {
    if (std::any_of(cells.begin(), cells.end(), [&](const auto& c) { return c.first == name; })) return false;
    name_ = name;
    return true;
  }
  bool end_object() override { return true; }
  bool start_array(std::size_t) override { return false; }
  bool end_array() override { return false; }
  bool parse_error(std::size_t, const std::string&, const nlohmann::detail::exception&) override { return false; }

 private:
  bool cell(Value value) {
    if (!inside_) return false;
    cells.emplace_back(name_, std::move(value));
    return true;
  }
  bool inside_ = false;
  std::string name_;
};

/// A kept cell as its column's type; nothing when it is of another kind.
std::optional<Value> as_type(const Value& cell, char type) {
  if (std::holds_alternative<std::monostate>(cell)) return cell;
  if (type == 'd') {
    if (const auto* i = std::get_if<long long>(&cell)) return Value{static_cast<double>(*i)};
    if (std::holds_alternative<double>(cell)) return cell;
  }
  if (type == 'i' && std::holds_alternative<long long>(cell)) return cell;
  if (type == 't' && std::holds_alternative<std::string>(cell)) return cell;
  return std::nullopt;
}

/// Columns by table, so that names read from a book's history never reach SQL unless they are ours.
const std::vector<Column>* columns_named(const std::string& table) {
  const std::vector<Column>* found = nullptr;
  for_each_table([&](auto row) {
    if (table == Table<decltype(row)>::name) found = &columns_of<decltype(row)>();
  });
  return found;
}

}  // namespace

void Store::begin(const std::string& label) {
  if (depth_ > 0) {
    ++depth_;
    return;
  }
  label_ = label;  // before anything that must be taken back: it may fail for want of memory
  action_ = 0;
  database_.begin();
  depth_ = 1;
}

void Store::commit() {
  if (depth_ == 0) throw Error(Fault::book, "rolled-back", database_.file(), "a part of this change failed, so that nothing of it was saved", "try again");
  if (--depth_ > 0) return;
  try {
    database_.commit();
  } catch (...) {
    database_.rollback();
    throw;
  }
}

void Store::rollback() noexcept {
  depth_ = 0;
  database_.rollback();
}

Id Store::next_id(const std::string& table) {
  return std::get<long long>(database_.row("SELECT COALESCE(MAX(id), 0) + 1 FROM " + table, "i").value()[0]);
}

void Store::remember(const std::string& table, Id id, const std::string& before, const std::string& after) {
  if (action_ == 0) {
    // What was undone can no longer be redone once something else is done; it stays in the book as abandoned.
    database_.run("UPDATE action SET state = 'abandoned' WHERE state = 'undone'");
    action_ = next_id("action");
    database_.run("INSERT INTO action (id, made, label, program, state) VALUES (:id, :made, :label, :program, 'done')",
                  {static_cast<long long>(action_), DateTime::now().iso(), clean_utf8(label_), std::string("uroko " UROKO_VERSION)});
  }
  database_.run("INSERT INTO change (id, action, record, row_id, columns_before, columns_after) VALUES (:id, :action, :record, :row, :old, :new)",
                {static_cast<long long>(next_id("change")), static_cast<long long>(action_), table, static_cast<long long>(id),
                 before.empty() ? Value{} : Value{before}, after.empty() ? Value{} : Value{after}});
}

Id Store::insert(const std::string& table, const std::vector<Column>& columns, const Values& values) {
  const Id id = next_id(table);
  std::string names = "id", marks = ":id";
  Values arguments{static_cast<long long>(id)};
  for (std::size_t k = 0; k < columns.size(); ++k) {
    names += ", " + columns[k].name;
    marks += ", :v_" + columns[k].name;
    arguments.push_back(values[k]);
  }
  database_.run("INSERT INTO " + table + " (" + names + ") VALUES (" + marks + ")", arguments);
  remember(table, id, {}, {});
  return id;
}

void Store::change(const std::string& table, Id id, const std::vector<Column>& columns, const Values& before, const Values& after) {
  JsonText old, now;
  std::string sets;
  Values arguments;
  for (std::size_t k = 0; k < columns.size(); ++k) {
    if (before[k] == after[k]) continue;
    old.add(columns[k].name, before[k]);
    now.add(columns[k].name, after[k]);
    sets += (sets.empty() ? "" : ", ") + columns[k].name + " = :v_" + columns[k].name;
    arguments.push_back(after[k]);
  }
  if (sets.empty()) return;
  arguments.push_back(static_cast<long long>(id));
  database_.run("UPDATE " + table + " SET " + sets + " WHERE id = :id", arguments);
  remember(table, id, old.text(), now.text());
}

void Store::apply(const std::string& table, Id id, const std::vector<std::pair<std::string, Value>>& cells) {
  const auto* columns = columns_named(table);
  std::string sets;
  Values arguments;
  for (const auto& [name, cell] : cells) {
    char type = name == "trashed" ? 't' : 0;
    if (columns)
      for (const auto& column : *columns)
        if (column.name == name) type = column.type;
    if (!columns || !type)
      throw Error(Fault::book, "damaged", database_.file(), "its history names a column that is not there", "run uroko book check; restore the latest backup");
    auto value = as_type(cell, type);
    if (!value) throw Error(Fault::book, "damaged", database_.file(), "its history holds a value of another kind", "run uroko book check; restore the latest backup");
    sets += fmt::format("{0}{1} = :v_{1}", sets.empty() ? "" : ", ", name);
    arguments.push_back(std::move(*value));
  }
  if (sets.empty()) return;
  arguments.push_back(static_cast<long long>(id));
  database_.run("UPDATE " + table + " SET " + sets + " WHERE id = :id", arguments);
}

std::optional<std::string> Store::label_of(const char* state, const char* order) const {
  const auto found = database_.row(std::string("SELECT label FROM action WHERE state = :state ORDER BY id ") + order + " LIMIT 1", "t", {std::string(state)});
  if (!found) return std::nullopt;
  return std::get<std::string>((*found)[0]);
}

std::string Store::move(bool undo) {
  if (depth_ > 0) throw std::logic_error("undo inside a step");
  begin("");
  try {
    // Steps done are undone last first; steps undone are redone first first.
    const auto action = database_.row(undo ? "SELECT id, label FROM action WHERE state = 'done' ORDER BY id DESC LIMIT 1"
                                           : "SELECT id, label FROM action WHERE state = 'undone' ORDER BY id LIMIT 1", "it");
    if (!action) throw Error(Fault::usage, undo ? "nothing-to-undo" : "nothing-to-redo", database_.file(), undo ? "there is nothing to undo" : "there is nothing to redo", "");
    const auto id = std::get<long long>((*action)[0]);
    auto changes = database_.rows("SELECT record, row_id, columns_before, columns_after FROM change WHERE action = :action ORDER BY id", "titt", {id});
    if (undo) std::reverse(changes.begin(), changes.end());
    const auto now = DateTime::now().iso();
    for (const auto& change : changes) {
      const auto table = std::get<std::string>(change[0]);
      const auto row = std::get<long long>(change[1]);
      const auto& cells = change[undo ? 2 : 3];
      // A new row goes to the trash when undone, and comes out of it when redone.
      CellsReader read;
      if (const auto* text = std::get_if<std::string>(&cells); text == nullptr)
        read.cells.emplace_back("trashed", undo ? Value{now} : Value{});
      else if (!json::sax_parse(*text, &read))
        throw Error(Fault::book, "damaged", database_.file(), "its history cannot be read", "run uroko book check; restore the latest backup");
      apply(table, row, read.cells);
    }
    database_.run(std::string("UPDATE action SET state = '") + (undo ? "undone" : "done") + "' WHERE id = :id", {id});
    commit();
    return std::get<std::string>((*action)[1]);
  } catch (const std::bad_variant_access&) {
    rollback();
    throw Error(Fault::book, "damaged", database_.file(), "its history cannot be read", "run uroko book check; restore the latest backup");
  } catch (...) {
    rollback();
    throw;
  }
}

std::string Store::undo() { return move(true); }
std::string Store::redo() { return move(false); }

}  // namespace uroko::casebook
