#pragma once
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "casebook/tables.h"
#include "uroko/casebook/book.h"

namespace uroko::casebook {

/// Writes rows and remembers what they were: the one way by which records change. Every change happens inside a step;
/// rows are never deleted, so ids are never used again (max + 1 under the write lock).
class Store {
 public:
  explicit Store(Database& database) : database_(database) {}

  void begin(const std::string& label);
  void commit();
  void rollback() noexcept;
  bool inside_step() const { return depth_ > 0; }

  Id insert(const std::string& table, const std::vector<Column>& columns, const Values& values);
  /// Only the columns that differ. Precondition: the row is there.
  void change(const std::string& table, Id id, const std::vector<Column>& columns, const Values& before, const Values& after);

  std::optional<std::string> label_of(const char* state, const char* order) const;
  std::string undo();
  std::string redo();

 private:
  Id next_id(const std::string& table);
  /// Texts of JSON objects; empty: no such state.
  void remember(const std::string& table, Id id, const std::string& before, const std::string& after);
  /// Cells by column; columns that are not ours are refused.
  void apply(const std::string& table, Id id, const std::vector<std::pair<std::string, Value>>& cells);
  std::string move(bool undo);

  Database& database_;
  int depth_ = 0;
  Id action_ = 0;
  std::string label_;
};

}  // namespace uroko::casebook
