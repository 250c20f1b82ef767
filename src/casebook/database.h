#pragma once
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "uroko/base/error.h"

namespace uroko::casebook {

using Value = std::variant<std::monostate, long long, double, std::string>;
using Values = std::vector<Value>;

/// The one connection of a book. Statements use :names by position, each name once, so that they run on PostgreSQL too;
/// what only SQLite knows (pragmas, BEGIN IMMEDIATE, the file itself) stands in database.cpp and nowhere else.
class Database {
 public:
  enum class Mode { create, write, read, immutable };
  /// Opens the file with the safe settings. Throws Error(Fault::book).
  Database(const std::filesystem::path& file, Mode mode);
  Database(const Database&) = delete;
  Database& operator=(const Database&) = delete;
  ~Database();

  const std::filesystem::path& file() const { return file_; }
  void run(const std::string& sql, const Values& arguments = {});
  /// types: a letter a column, i integer, d double, t text. NULL comes as monostate.
  void each(const std::string& sql, const std::string& types, const Values& arguments, const std::function<void(const Values&)>& row) const;
  std::vector<Values> rows(const std::string& sql, const std::string& types, const Values& arguments = {}) const;
  std::optional<Values> row(const std::string& sql, const std::string& types, const Values& arguments = {}) const;
  /// Several statements without arguments (a schema step).
  void script(const std::string& sql);

  void begin();     ///< takes the write lock at once; waits for another program, then says who holds it
  void commit();    ///< returns only when the change is on the disk
  void rollback() noexcept;
  bool in_transaction() const;

  void set_patience(int milliseconds);  ///< how long to wait for another program; 5 s at first

  int version() const;             ///< user_version
  void set_version(int version);   ///< inside a transaction
  std::vector<std::string> quick_check(int limit) const;
  std::vector<std::string> integrity_check(int limit) const;
  std::vector<std::string> foreign_key_check() const;
  /// Name and text of everything in the schema, in order of name.
  std::vector<std::string> schema() const;
  /// SQLite's online backup of this database into a new file, which is fsynced and checked.
  void copy_to(const std::filesystem::path& target) const;
  /// The same into memory; the result stands alone.
  std::unique_ptr<Database> copy_in_memory() const;

 private:
  struct Inside;
  std::unique_ptr<Inside> inside_;
  std::filesystem::path file_;
};

inline constexpr int kApplicationId = 0x75726f6b;  ///< "urok"

/// What the first 100 bytes of a file say, without opening it as a database.
struct Header {
  enum class Kind { missing, unreadable, not_ours, ours, damaged } kind = Kind::missing;
  int version = 0;
  bool journal = false;  ///< a rollback journal stands beside it
  std::string reason;
};
Header read_header(const std::filesystem::path& file);

/// Name of the network file system that holds this path, "" when it is local (statfs(2) magic numbers, linux/magic.h).
std::string network_share(const std::filesystem::path& path);
std::string network_share_name(unsigned long magic);

/// The schema steps, built into the program from assets/schema. The i-th (from 0) leads to version i + 1.
const std::vector<std::string>& schema_steps();

}  // namespace uroko::casebook
