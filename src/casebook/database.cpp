#include "casebook/database.h"

#include <fcntl.h>
#include <soci/soci.h>
#include <soci/sqlite3/soci-sqlite3.h>
#include <sys/stat.h>
#include <sys/vfs.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <list>
#include <sstream>
#include <utility>

#include "uroko/base/text.h"

namespace uroko::casebook {

namespace fs = std::filesystem;
namespace api = sqlite_api;

namespace {

/// file: URI of a path (RFC 3986 escapes), so that any name a folder can have is opened as it is.
std::string uri(const fs::path& file, const std::string& query) {
  std::string out = "file:";
  for (const unsigned char c : fs::absolute(file).string()) {
    if (std::isalnum(c) || std::strchr("/-_.~", c)) {
      out += static_cast<char>(c);
    } else {
      const char* hex = "0123456789ABCDEF";
      out += {'%', hex[c >> 4], hex[c & 15]};
    }
  }
  return out + "?" + query;
}

std::atomic<bool> folder_sync_failed{false};

/// SQLite fsyncs the folder after making or removing its journal but does not look at the answer. This takes the place of its opening of that folder:
/// it fsyncs the folder itself, remembers a failure for commit(), and says "cannot open", upon which SQLite goes on without doing it again.
int sync_folder_of(const char* file, int* fd) {
  *fd = -1;
  // Called by C code that knows no exceptions: nothing here allocates.
  char folder[4096] = ".";
  if (const char* slash = std::strrchr(file, '/'); slash != nullptr) {
    const auto length = std::max<std::size_t>(static_cast<std::size_t>(slash - file), 1);
    if (length >= sizeof folder) {
      folder_sync_failed = true;
      return SQLITE_CANTOPEN;
    }
    std::memcpy(folder, file, length);
    folder[length] = '\0';
  }
  const int dir = ::open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (dir < 0 || ::fsync(dir) != 0) folder_sync_failed = true;
  if (dir >= 0) ::close(dir);
  return SQLITE_CANTOPEN;
}

void watch_folder_syncs() {
  static const bool done = [] {
    auto* vfs = api::sqlite3_vfs_find("unix");
    return vfs && vfs->xSetSystemCall && vfs->xSetSystemCall(vfs, "openDirectory", reinterpret_cast<api::sqlite3_syscall_ptr>(&sync_folder_of)) == SQLITE_OK;
  }();
  if (!done) throw std::logic_error("SQLite's folder syncs cannot be watched");
}

/// The program that holds a lock on the file, from /proc/locks; "" when it cannot be told.
std::string holder_of(const fs::path& file) {
  struct stat st {};
  if (::stat(file.c_str(), &st) != 0) return "";
  std::ifstream locks("/proc/locks");
  std::string line;
  while (std::getline(locks, line)) {
    // "1: POSIX  ADVISORY  WRITE 1234 08:01:5678 1073741824 1073741824" (proc(5))
    std::istringstream words(line);
    std::string number, kind, advisory, mode, pid, place;
    words >> number >> kind >> advisory >> mode >> pid >> place;
    const auto parts = split(place, ':');
    if (mode != "WRITE" || parts.size() != 3 || parts[2] != std::to_string(st.st_ino) || pid == std::to_string(::getpid())) continue;
    std::ifstream comm("/proc/" + pid + "/comm");
    std::string program;
    std::getline(comm, program);
    return (program.empty() ? "another program" : program) + " (process " + pid + ")";
  }
  return "";
}

[[noreturn]] void refuse(const fs::path& file, int code, const std::string& message) {
  const auto fail = [&](const char* word, const std::string& happened, const std::string& advice) { throw Error(Fault::book, word, file, happened, advice); };
  switch (code & 0xff) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED: {
      const auto holder = holder_of(file);
      fail("locked", "the case book is held by " + (holder.empty() ? std::string("another program") : holder) + " and nothing was changed",
           "wait for it or close it, then try again");
      break;
    }
    case SQLITE_FULL: fail("disk-full", "the disk is full and nothing was saved", "make room on the disk, then try again"); break;
    case SQLITE_IOERR: fail("io", "the disk reported an error (" + message + "); the last change is not saved", "check the disk, open the book again and look"); break;
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB: fail("damaged", "the case book is damaged (" + message + ")", "restore the latest backup: uroko book restore"); break;
    case SQLITE_READONLY: fail("read-only", "the case book cannot be written", "check the permissions of its folder"); break;
    case SQLITE_CANTOPEN: fail("not-opened", "the case book cannot be opened (" + message + ")", "check its folder and permissions"); break;
    case SQLITE_CONSTRAINT: fail("constraint", "the change does not fit what the book holds (" + message + ")", "nothing was changed"); break;
    case SQLITE_NOMEM: throw std::bad_alloc();
    default: fail("database", "the case book answered with an error (" + message + ")", "run uroko book check");
  }
  std::abort();
}

}  // namespace

struct Database::Inside {
  soci::session session;
  bool failed = false;  ///< a commit failed: what is on the disk is unknown until the book is opened again

  soci::sqlite3_session_backend* backend() const { return static_cast<soci::sqlite3_session_backend*>(const_cast<soci::session&>(session).get_backend()); }
  api::sqlite3* raw() const { return backend()->conn_; }
  void open(const fs::path& file, const std::string& name);
};

namespace {

template <class F>
auto guarded(const fs::path& file, api::sqlite3* raw, F&& f) -> decltype(f()) {
  try {
    return f();
  } catch (const soci::sqlite3_soci_error& e) {
    int code = e.result();
    // SOCI keeps the plain code; where it lost it, the connection still knows.
    if ((code == SQLITE_OK || code == SQLITE_ERROR) && raw) code = api::sqlite3_errcode(raw);
    refuse(file, code, raw ? api::sqlite3_errmsg(raw) : e.what());
  } catch (const soci::soci_error& e) {
    refuse(file, raw ? api::sqlite3_errcode(raw) : SQLITE_ERROR, e.what());
  } catch (const std::bad_variant_access&) {  // an empty cell where the schema allows none
    throw Error(Fault::book, "damaged", file, "is damaged: a row holds a value of another kind", "run uroko book check; restore the latest backup");
  }
}

void check_code(const fs::path& file, api::sqlite3* raw, int code) {
  if (code != SQLITE_OK && code != SQLITE_DONE && code != SQLITE_ROW) refuse(file, code, raw ? api::sqlite3_errmsg(raw) : api::sqlite3_errstr(code));
}

struct Bound {
  long long i = 0;
  double d = 0;
  std::string s;
  soci::indicator ind = soci::i_ok;
};

}  // namespace

/// SOCI 4.0.3 reads a connect string that has a '=' in a loop that never ends when memory runs out in it, so the session begins with an empty database
/// and is given a connection opened here.
void Database::Inside::open(const fs::path& file, const std::string& name) {
  guarded(file, nullptr, [&] { session.open(soci::sqlite3, ":memory:"); });
  api::sqlite3* own = nullptr;
  const int code = api::sqlite3_open_v2(name.c_str(), &own, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_URI, nullptr);
  if (code != SQLITE_OK) {
    const std::unique_ptr<api::sqlite3, int (*)(api::sqlite3*)> broken(own, &api::sqlite3_close);
    check_code(file, own, code);
  }
  api::sqlite3_close(std::exchange(backend()->conn_, own));
}

Database::Database(const fs::path& file, Mode mode) : inside_(std::make_unique<Inside>()), file_(file) {
  watch_folder_syncs();
  std::string name;
  switch (mode) {
    case Mode::create: name = uri(file, "mode=rwc"); break;
    case Mode::write: name = uri(file, "mode=rw"); break;
    case Mode::read: name = uri(file, "mode=ro"); break;
    case Mode::immutable: name = uri(file, "mode=ro&immutable=1"); break;
  }
  if (file == ":memory:") name = ":memory:";
  inside_->open(file_, name);
  auto* raw = inside_->raw();
  api::sqlite3_busy_timeout(raw, 5000);
  api::sqlite3_db_config(raw, SQLITE_DBCONFIG_DEFENSIVE, 1, nullptr);
  api::sqlite3_db_config(raw, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, nullptr);
  api::sqlite3_limit(raw, SQLITE_LIMIT_LENGTH, 64 << 20);
  script("PRAGMA cell_size_check=ON; PRAGMA foreign_keys=ON; PRAGMA temp_store=MEMORY; PRAGMA cache_size=-16384;");
  // An existing book is known to be in the DELETE journal mode (read_header); asking for it again could write into a damaged file.
  if (mode == Mode::create && file != ":memory:") script("PRAGMA journal_mode=DELETE;");
  if (mode == Mode::create || mode == Mode::write) script("PRAGMA synchronous=EXTRA;");
}

Database::~Database() {
  if (in_transaction()) rollback();
}

namespace {

void bind(soci::statement& statement, std::list<Bound>& bound, const Values& arguments) {
  for (const auto& argument : arguments) {
    auto& b = bound.emplace_back();
    if (std::holds_alternative<std::monostate>(argument)) {
      b.ind = soci::i_null;
      statement.exchange(soci::use(b.s, b.ind));
    } else if (const auto* i = std::get_if<long long>(&argument)) {
      b.i = *i;
      statement.exchange(soci::use(b.i));
    } else if (const auto* d = std::get_if<double>(&argument)) {
      b.d = *d;
      statement.exchange(soci::use(b.d));
    } else {
      b.s = std::get<std::string>(argument);
      statement.exchange(soci::use(b.s));
    }
  }
}

}  // namespace

void Database::run(const std::string& sql, const Values& arguments) {
  guarded(file_, inside_->raw(), [&] {
    std::list<Bound> bound;
    soci::statement statement(inside_->session);
    bind(statement, bound, arguments);
    statement.alloc();
    statement.prepare(sql);
    statement.define_and_bind();
    statement.execute(true);
  });
}

void Database::each(const std::string& sql, const std::string& types, const Values& arguments, const std::function<void(const Values&)>& row) const {
  guarded(file_, inside_->raw(), [&] {
    std::list<Bound> bound;
    std::vector<Bound> cells(types.size());
    soci::statement statement(inside_->session);
    bind(statement, bound, arguments);
    for (std::size_t k = 0; k < types.size(); ++k) {
      auto& cell = cells[k];
      if (types[k] == 'i') statement.exchange(soci::into(cell.i, cell.ind));
      if (types[k] == 'd') statement.exchange(soci::into(cell.d, cell.ind));
      if (types[k] == 't') statement.exchange(soci::into(cell.s, cell.ind));
    }
    statement.alloc();
    statement.prepare(sql);
    statement.define_and_bind();
    statement.execute(false);
    Values values(types.size());
    while (statement.fetch()) {
      for (std::size_t k = 0; k < types.size(); ++k) {
        if (cells[k].ind == soci::i_null)
          values[k] = std::monostate{};
        else if (types[k] == 'i')
          values[k] = cells[k].i;
        else if (types[k] == 'd')
          values[k] = cells[k].d;
        else
          values[k] = cells[k].s;
      }
      row(values);
    }
  });
}

std::vector<Values> Database::rows(const std::string& sql, const std::string& types, const Values& arguments) const {
  std::vector<Values> out;
  each(sql, types, arguments, [&](const Values& row) { out.push_back(row); });
  return out;
}

std::optional<Values> Database::row(const std::string& sql, const std::string& types, const Values& arguments) const {
  auto all = rows(sql, types, arguments);
  if (all.empty()) return std::nullopt;
  return std::move(all.front());
}

void Database::script(const std::string& sql) {
  auto* raw = inside_->raw();
  check_code(file_, raw, api::sqlite3_exec(raw, sql.c_str(), nullptr, nullptr, nullptr));
}

void Database::begin() {
  if (inside_->failed)
    throw Error(Fault::book, "unsure", file_, "an earlier save failed on the disk and what it left is not known", "close the book and open it again");
  script("BEGIN IMMEDIATE");
}

void Database::commit() {
  try {
    script("COMMIT");
    if (folder_sync_failed.exchange(false)) refuse(file_, SQLITE_IOERR, "fsync of the folder failed");
  } catch (const Error& e) {
    // A busy commit may be tried again; after any other failure the pages in memory cannot be trusted.
    if (e.code() != "locked") inside_->failed = true;
    throw;
  }
}

void Database::rollback() noexcept {
  if (in_transaction()) api::sqlite3_exec(inside_->raw(), "ROLLBACK", nullptr, nullptr, nullptr);
}

bool Database::in_transaction() const { return api::sqlite3_get_autocommit(inside_->raw()) == 0; }

void Database::set_patience(int milliseconds) { api::sqlite3_busy_timeout(inside_->raw(), milliseconds); }

std::vector<std::string> Database::schema() const {
  std::vector<std::string> out;
  each("SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY name", "tttt", {}, [&](const Values& row) {
    std::string line;
    for (const auto& cell : row) line += (std::holds_alternative<std::string>(cell) ? std::get<std::string>(cell) : std::string("-")) + "\n";
    out.push_back(std::move(line));
  });
  return out;
}

int Database::version() const {
  const auto found = row("PRAGMA user_version", "i");
  return static_cast<int>(std::get<long long>(found.value()[0]));
}

void Database::set_version(int version) { script("PRAGMA user_version=" + std::to_string(version)); }

namespace {
std::vector<std::string> words_of(const Database& database, const std::string& pragma) {
  std::vector<std::string> out;
  database.each(pragma, "t", {}, [&](const Values& row) {
    if (const auto* text = std::get_if<std::string>(&row[0]); text && *text != "ok") out.push_back(*text);
  });
  return out;
}
}  // namespace

std::vector<std::string> Database::quick_check(int limit) const { return words_of(*this, "PRAGMA quick_check(" + std::to_string(limit) + ")"); }

std::vector<std::string> Database::integrity_check(int limit) const { return words_of(*this, "PRAGMA integrity_check(" + std::to_string(limit) + ")"); }

std::vector<std::string> Database::foreign_key_check() const {
  std::vector<std::string> out;
  each("PRAGMA foreign_key_check", "titi", {}, [&](const Values& row) {
    const auto text = [&](int k) { return std::holds_alternative<std::string>(row[k]) ? std::get<std::string>(row[k]) : std::string("?"); };
    const auto number = [&](int k) { return std::holds_alternative<long long>(row[k]) ? std::to_string(std::get<long long>(row[k])) : std::string("?"); };
    out.push_back("row " + number(1) + " of " + text(0) + " points to a row of " + text(2) + " that is not there");
  });
  return out;
}

namespace {

void copy_pages(const fs::path& from_file, api::sqlite3* from, const fs::path& to_file, api::sqlite3* to) {
  auto* backup = api::sqlite3_backup_init(to, "main", from, "main");
  if (!backup) check_code(to_file, to, api::sqlite3_errcode(to));
  int code = SQLITE_OK;
  for (int waits = 0; code == SQLITE_OK || ((code == SQLITE_BUSY || code == SQLITE_LOCKED) && waits < 200);) {
    code = api::sqlite3_backup_step(backup, 4096);
    if (code == SQLITE_BUSY || code == SQLITE_LOCKED) {
      ++waits;
      api::sqlite3_sleep(25);
    }
  }
  const int finished = api::sqlite3_backup_finish(backup);
  if (code == SQLITE_DONE && folder_sync_failed.exchange(false)) refuse(to_file, SQLITE_IOERR, "fsync of the folder failed");
  if (code != SQLITE_DONE) refuse((code & 0xff) == SQLITE_BUSY || (code & 0xff) == SQLITE_CORRUPT ? from_file : to_file, code, api::sqlite3_errstr(code));
  check_code(to_file, to, finished);
}

}  // namespace

void Database::copy_to(const fs::path& target) const {
  Database copy(target, Mode::create);
  copy_pages(file_, inside_->raw(), target, copy.inside_->raw());
  const auto problems = copy.quick_check(1);
  if (!problems.empty()) throw Error(Fault::book, "not-written", target, "the copy does not read back (" + problems.front() + ")", "check the disk");
}

std::unique_ptr<Database> Database::copy_in_memory() const {
  auto copy = std::make_unique<Database>(":memory:", Mode::create);
  copy_pages(file_, inside_->raw(), file_, copy->inside_->raw());
  copy->file_ = file_;
  return copy;
}

Header read_header(const fs::path& file) {
  Header header;
  const int fd = ::open(file.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd < 0) {
    header.kind = errno == ENOENT || errno == ENOTDIR ? Header::Kind::missing : Header::Kind::unreadable;
    header.reason = std::strerror(errno);
    return header;
  }
  unsigned char bytes[100] = {};
  std::size_t got = 0;
  while (got < sizeof bytes) {
    const auto n = ::read(fd, bytes + got, sizeof bytes - got);
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) header.reason = std::strerror(errno);
    if (n <= 0) break;
    got += static_cast<std::size_t>(n);
  }
  ::close(fd);
  if (!header.reason.empty()) {
    header.kind = Header::Kind::unreadable;
    return header;
  }
  // Offsets of the SQLite file format: user_version at 60, application_id at 68, big endian (sqlite.org/fileformat2.html, section 1.3).
  const auto word = [&](int at) { return static_cast<int>(static_cast<unsigned>(bytes[at]) << 24 | bytes[at + 1] << 16 | bytes[at + 2] << 8 | bytes[at + 3]); };
  const bool ours = got == sizeof bytes && std::memcmp(bytes, "SQLite format 3", 16) == 0 && word(68) == kApplicationId;
  header.kind = ours ? Header::Kind::ours : Header::Kind::not_ours;
  // Bytes 18 and 19: 1 is a rollback journal; this program never writes anything else.
  if (ours && (bytes[18] != 1 || bytes[19] != 1)) {
    header.kind = Header::Kind::damaged;
    header.reason = "its header asks for another journal";
  }
  header.version = word(60);
  std::error_code ignored;
  header.journal = fs::exists(file.string() + "-journal", ignored);
  return header;
}

std::string network_share_name(unsigned long magic) {
  switch (magic & 0xffffffffUL) {
    case 0x6969: return "NFS";
    case 0x517B: return "SMB";
    case 0xFF534D42: return "CIFS";
    case 0xFE534D42: return "SMB2";
    case 0x5346414F: return "AFS";
    case 0x73757245: return "Coda";
    case 0x00C36400: return "Ceph";
    case 0x01021997: return "9P";
    case 0x564c: return "NCP";
    case 0x65735546: return "FUSE";
    default: return "";
  }
}

std::string network_share(const fs::path& path) {
  struct statfs st {};
  if (::statfs(path.c_str(), &st) != 0) return "";
  return network_share_name(static_cast<unsigned long>(st.f_type));
}

}  // namespace uroko::casebook
