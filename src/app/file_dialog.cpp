#include "uroko/app/file_dialog.h"

#include <dbus/dbus.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstring>
#include <memory>

#include "uroko/base/text.h"

extern char** environ;

namespace uroko::app {

namespace fs = std::filesystem;

namespace {

/// file:///a%20b -> /a b. Nothing where it is no file of this machine.
fs::path path_of_uri(const std::string& uri) {
  constexpr const char *kFile = "file://", *kHere = "file://localhost/";
  if (uri.rfind(kFile, 0) != 0) return {};
  const std::size_t start = uri.rfind(kHere, 0) == 0 ? std::strlen(kHere) - 1 : std::strlen(kFile);
  const auto digit = [&](std::size_t i) {
    const char c = i < uri.size() ? uri[i] : ' ';
    return c >= '0' && c <= '9' ? c - '0' : c >= 'a' && c <= 'f' ? c - 'a' + 10 : c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
  };
  std::string out;
  for (std::size_t i = start; i < uri.size(); ++i) {
    if (const int high = digit(i + 1), low = digit(i + 2); uri[i] == '%' && high >= 0 && low >= 0) {
      out += static_cast<char>(16 * high + low);
      i += 2;
    } else {
      out += uri[i];
    }
  }
  if (out.empty() || out.front() != '/' || out.find('\0') != std::string::npos) return {};
  return out;
}

struct Close {
  void operator()(DBusConnection* c) const {
    dbus_connection_close(c);
    dbus_connection_unref(c);
  }
  void operator()(DBusMessage* m) const { dbus_message_unref(m); }
};
using Connection = std::unique_ptr<DBusConnection, Close>;
using Message = std::unique_ptr<DBusMessage, Close>;

class Options {
 public:
  explicit Options(DBusMessageIter* parent) : parent_(parent) { dbus_message_iter_open_container(parent, DBUS_TYPE_ARRAY, "{sv}", &array_); }
  ~Options() { dbus_message_iter_close_container(parent_, &array_); }
  void boolean(const char* key, bool value) {
    entry(key, "b", [&](DBusMessageIter* v) {
      dbus_bool_t b = value;
      dbus_message_iter_append_basic(v, DBUS_TYPE_BOOLEAN, &b);
    });
  }
  /// Left out where it is not UTF-8, which the bus does not carry.
  void string(const char* key, const std::string& value) {
    if (value.find('\0') != std::string::npos || !dbus_validate_utf8(value.c_str(), nullptr)) return;
    entry(key, "s", [&](DBusMessageIter* v) {
      const char* s = value.c_str();
      dbus_message_iter_append_basic(v, DBUS_TYPE_STRING, &s);
    });
  }
  /// A path as the portal wants it: bytes with a final zero.
  void bytes(const char* key, const std::string& value) {
    entry(key, "ay", [&](DBusMessageIter* v) {
      DBusMessageIter array;
      dbus_message_iter_open_container(v, DBUS_TYPE_ARRAY, "y", &array);
      const char* data = value.c_str();
      dbus_message_iter_append_fixed_array(&array, DBUS_TYPE_BYTE, &data, static_cast<int>(value.size()) + 1);
      dbus_message_iter_close_container(v, &array);
    });
  }
  void filters(const std::string& name, const std::vector<std::string>& patterns) {
    entry("filters", "a(sa(us))", [&](DBusMessageIter* v) {
      DBusMessageIter list, filter, globs, glob;
      dbus_message_iter_open_container(v, DBUS_TYPE_ARRAY, "(sa(us))", &list);
      dbus_message_iter_open_container(&list, DBUS_TYPE_STRUCT, nullptr, &filter);
      const char* n = name.c_str();
      dbus_message_iter_append_basic(&filter, DBUS_TYPE_STRING, &n);
      dbus_message_iter_open_container(&filter, DBUS_TYPE_ARRAY, "(us)", &globs);
      for (const auto& pattern : patterns) {
        dbus_message_iter_open_container(&globs, DBUS_TYPE_STRUCT, nullptr, &glob);
        dbus_uint32_t kind = 0;
        const char* p = pattern.c_str();
        dbus_message_iter_append_basic(&glob, DBUS_TYPE_UINT32, &kind);
        dbus_message_iter_append_basic(&glob, DBUS_TYPE_STRING, &p);
        dbus_message_iter_close_container(&globs, &glob);
      }
      dbus_message_iter_close_container(&filter, &globs);
      dbus_message_iter_close_container(&list, &filter);
      dbus_message_iter_close_container(v, &list);
    });
  }

 private:
  template <class F>
  void entry(const char* key, const char* type, F fill) {
    DBusMessageIter e, v;
    dbus_message_iter_open_container(&array_, DBUS_TYPE_DICT_ENTRY, nullptr, &e);
    dbus_message_iter_append_basic(&e, DBUS_TYPE_STRING, &key);
    dbus_message_iter_open_container(&e, DBUS_TYPE_VARIANT, type, &v);
    fill(&v);
    dbus_message_iter_close_container(&e, &v);
    dbus_message_iter_close_container(&array_, &e);
  }
  DBusMessageIter* parent_;
  DBusMessageIter array_;
};

/// Steps into what `it` stands on when that is a `type`.
bool into(DBusMessageIter& it, int type, DBusMessageIter& inside) {
  if (dbus_message_iter_get_arg_type(&it) != type) return false;
  dbus_message_iter_recurse(&it, &inside);
  return true;
}

/// The text that `it` stands on; nullptr: it is none.
const char* text_at(DBusMessageIter& it) {
  const char* text = nullptr;
  if (dbus_message_iter_get_arg_type(&it) == DBUS_TYPE_STRING) dbus_message_iter_get_basic(&it, &text);
  return text;
}

/// Reads (u response, a{sv} results): the uris. Nothing is taken for granted: any program on the bus may have sent it.
std::vector<fs::path> paths_in(DBusMessage* response) {
  std::vector<fs::path> out;
  DBusMessageIter it, dict, entry, variant, list;
  if (!dbus_message_iter_init(response, &it) || dbus_message_iter_get_arg_type(&it) != DBUS_TYPE_UINT32) return out;
  dbus_uint32_t code = 2;
  dbus_message_iter_get_basic(&it, &code);
  if (code != 0 || !dbus_message_iter_next(&it) || !into(it, DBUS_TYPE_ARRAY, dict)) return out;
  for (; into(dict, DBUS_TYPE_DICT_ENTRY, entry); dbus_message_iter_next(&dict)) {
    const char* key = text_at(entry);
    if (!key || std::strcmp(key, "uris") != 0) continue;
    if (!dbus_message_iter_next(&entry) || !into(entry, DBUS_TYPE_VARIANT, variant) || !into(variant, DBUS_TYPE_ARRAY, list)) continue;
    for (const char* uri; (uri = text_at(list)); dbus_message_iter_next(&list))
      if (auto path = path_of_uri(uri); !path.empty()) out.push_back(std::move(path));
  }
  return out;
}

constexpr const char* kPortal = "org.freedesktop.portal.Desktop";

/// The portal's owner left the bus.
bool portal_has_gone(DBusMessage* m) {
  const char *name = nullptr, *before = nullptr, *now = nullptr;
  return dbus_message_is_signal(m, DBUS_INTERFACE_DBUS, "NameOwnerChanged") && dbus_message_has_sender(m, DBUS_SERVICE_DBUS) &&
         dbus_message_get_args(m, nullptr, DBUS_TYPE_STRING, &name, DBUS_TYPE_STRING, &before, DBUS_TYPE_STRING, &now, DBUS_TYPE_INVALID) && std::strcmp(name, kPortal) == 0 && !*now;
}

std::optional<std::vector<fs::path>> ask_portal(const FileQuestion& q, const Token& token) {
  const char* address = std::getenv("DBUS_SESSION_BUS_ADDRESS");
  if (!address || !*address) return std::nullopt;
  // By its address: dbus_bus_get keeps the first one it saw for the life of the process.
  Connection bus(dbus_connection_open_private(address, nullptr));
  if (!bus || !dbus_bus_register(bus.get(), nullptr)) return std::nullopt;
  dbus_connection_set_exit_on_disconnect(bus.get(), false);
  for (const std::string& match : {std::string("type='signal',interface='org.freedesktop.portal.Request',member='Response',sender='") + kPortal + "'",
                                  std::string("type='signal',interface='" DBUS_INTERFACE_DBUS "',member='NameOwnerChanged',arg0='") + kPortal + "'"})
    dbus_bus_add_match(bus.get(), match.c_str(), nullptr);
  Message call(dbus_message_new_method_call(kPortal, "/org/freedesktop/portal/desktop", "org.freedesktop.portal.FileChooser", q.save ? "SaveFile" : "OpenFile"));
  DBusMessageIter it;
  dbus_message_iter_init_append(call.get(), &it);
  const char *parent = "", *title = q.title.c_str();
  dbus_message_iter_append_basic(&it, DBUS_TYPE_STRING, &parent);
  dbus_message_iter_append_basic(&it, DBUS_TYPE_STRING, &title);
  {
    Options options(&it);
    options.boolean("modal", true);
    if (!q.save) {
      options.boolean("multiple", q.many);
      options.boolean("directory", q.folder);
    } else {
      options.string("current_name", q.start.filename().string());
    }
    const auto folder = q.save ? q.start.parent_path() : q.start;
    if (!folder.empty()) options.bytes("current_folder", folder.string());
    if (!q.patterns.empty() && !q.folder) options.filters(q.pattern_name, q.patterns);
  }
  Message reply(dbus_connection_send_with_reply_and_block(bus.get(), call.get(), 4000, nullptr));
  const char* handle = nullptr;
  if (!reply || !dbus_message_get_args(reply.get(), nullptr, DBUS_TYPE_OBJECT_PATH, &handle, DBUS_TYPE_INVALID)) return std::nullopt;
  while (!token.cancelled()) {
    if (!dbus_connection_read_write(bus.get(), 100)) return std::nullopt;
    while (Message m{dbus_connection_pop_message(bus.get())}) {
      if (dbus_message_is_signal(m.get(), "org.freedesktop.portal.Request", "Response") && dbus_message_has_path(m.get(), handle)) return paths_in(m.get());
      if (portal_has_gone(m.get())) return std::nullopt;
    }
  }
  // Nobody waits for it any more: the desktop takes its dialog away.
  Message close(dbus_message_new_method_call(kPortal, handle, "org.freedesktop.portal.Request", "Close"));
  dbus_message_set_no_reply(close.get(), true);
  dbus_connection_send(bus.get(), close.get(), nullptr);
  dbus_connection_flush(bus.get());
  return std::vector<fs::path>{};
}

bool there_is(const char* program) {
  const char* path = std::getenv("PATH");
  if (!path) return false;
  for (const auto& folder : split(path, ':'))
    if (!folder.empty() && ::access((fs::path(folder) / program).c_str(), X_OK) == 0) return true;
  return false;
}

/// Runs a dialog program by argument vector (no shell) and reads its lines; ends it when nobody waits for it any more. Nothing when it could not be
/// run or did not show its dialog; by both programs' manuals 0 is an answer and 1 a person's "no".
std::optional<std::vector<fs::path>> ask_program(const std::vector<std::string>& command, const Token& token) {
  int ends[2];
  if (::pipe2(ends, O_CLOEXEC) != 0) return std::nullopt;
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_adddup2(&actions, ends[1], STDOUT_FILENO);
  std::vector<char*> argv;
  argv.reserve(command.size() + 1);
  for (const auto& a : command) argv.push_back(const_cast<char*>(a.c_str()));
  argv.push_back(nullptr);
  pid_t pid = 0;
  const int failed = ::posix_spawnp(&pid, argv[0], &actions, nullptr, argv.data(), environ);
  posix_spawn_file_actions_destroy(&actions);
  ::close(ends[1]);
  if (failed) {
    ::close(ends[0]);
    return std::nullopt;
  }
  std::string text;
  char buffer[4096];
  for (pollfd ready{ends[0], POLLIN, 0}; !token.cancelled();) {
    if (::poll(&ready, 1, 100) <= 0) continue;
    const auto n = ::read(ends[0], buffer, sizeof buffer);
    if (n <= 0) break;
    text.append(buffer, static_cast<std::size_t>(n));
  }
  ::close(ends[0]);
  if (token.cancelled()) ::kill(pid, SIGTERM);
  int status = 0;
  ::waitpid(pid, &status, 0);
  std::vector<fs::path> out;
  if (token.cancelled() || (WIFEXITED(status) && WEXITSTATUS(status) == 1)) return out;
  if (!WIFEXITED(status) || WEXITSTATUS(status) != 0) return std::nullopt;
  for (const auto& line : split(text, '\n'))
    if (!line.empty()) out.emplace_back(line);
  return out;
}

}  // namespace

std::optional<std::vector<fs::path>> ask_files(const FileQuestion& q, const Token& token) {
  if (auto answer = ask_portal(q, token)) return answer;
  std::string patterns;
  for (const auto& p : q.patterns) patterns += (patterns.empty() ? "" : " ") + p;
  const std::string start = q.save || q.start.empty() ? q.start.string() : q.start.string() + "/";
  if (there_is("zenity")) {
    std::vector<std::string> c = {"zenity", "--file-selection", "--title=" + q.title, "--separator=\n"};
    if (q.save) c.insert(c.end(), {"--save", "--confirm-overwrite"});
    if (q.folder) c.push_back("--directory");
    if (q.many) c.push_back("--multiple");
    if (!start.empty()) c.push_back("--filename=" + start);
    if (!patterns.empty() && !q.folder) c.push_back("--file-filter=" + q.pattern_name + " | " + patterns);
    if (auto answer = ask_program(c, token)) return answer;
  }
  if (there_is("kdialog")) {
    std::vector<std::string> c = {"kdialog", "--title", q.title};
    if (q.many) c.insert(c.end(), {"--multiple", "--separate-output"});
    c.push_back(q.folder ? "--getexistingdirectory" : q.save ? "--getsavefilename" : "--getopenfilename");
    c.push_back(start.empty() ? "." : start);
    if (!patterns.empty() && !q.folder) c.push_back(patterns);
    return ask_program(c, token);
  }
  return std::nullopt;
}

}  // namespace uroko::app
