#include "app/desktop.h"

#include <fcntl.h>
#include <poll.h>
#include <unistd.h>

#include <cstring>
#include <memory>
#include <stdexcept>

#include "uroko/base/file.h"

namespace uroko::testing {

namespace {

constexpr const char* kPortal = "org.freedesktop.portal.Desktop";

Asked read(DBusMessage* call) {
  Asked out;
  out.method = dbus_message_get_member(call);
  DBusMessageIter it, dict, entry, variant, inside;
  dbus_message_iter_init(call, &it);
  dbus_message_iter_next(&it);  // the parent window
  const char* text = nullptr;
  dbus_message_iter_get_basic(&it, &text);
  out.title = text;
  dbus_message_iter_next(&it);
  for (dbus_message_iter_recurse(&it, &dict); dbus_message_iter_get_arg_type(&dict) == DBUS_TYPE_DICT_ENTRY; dbus_message_iter_next(&dict)) {
    dbus_message_iter_recurse(&dict, &entry);
    dbus_message_iter_get_basic(&entry, &text);
    const std::string key = text;
    dbus_message_iter_next(&entry);
    dbus_message_iter_recurse(&entry, &variant);
    const std::unique_ptr<char, void (*)(void*)> signature(dbus_message_iter_get_signature(&variant), dbus_free);
    const std::string type = signature.get();
    if (type == "b") {
      dbus_bool_t value = false;
      dbus_message_iter_get_basic(&variant, &value);
      out.flags[key] = value;
    } else if (type == "s") {
      dbus_message_iter_get_basic(&variant, &text);
      out.texts[key] = text;
    } else if (type == "ay") {
      const char* bytes = nullptr;
      int size = 0;
      dbus_message_iter_recurse(&variant, &inside);
      dbus_message_iter_get_fixed_array(&inside, &bytes, &size);
      out.texts[key] = std::string(bytes, static_cast<std::size_t>(size));
    } else if (type == "a(sa(us))") {
      DBusMessageIter filter, globs, glob;
      dbus_message_iter_recurse(&variant, &inside);
      dbus_message_iter_recurse(&inside, &filter);
      dbus_message_iter_get_basic(&filter, &text);
      out.filter = text;
      dbus_message_iter_next(&filter);
      for (dbus_message_iter_recurse(&filter, &globs); dbus_message_iter_get_arg_type(&globs) == DBUS_TYPE_STRUCT; dbus_message_iter_next(&globs)) {
        dbus_message_iter_recurse(&globs, &glob);
        dbus_message_iter_next(&glob);  // 0: a pattern, 1: a MIME type
        dbus_message_iter_get_basic(&glob, &text);
        out.patterns.emplace_back(text);
      }
    }
  }
  return out;
}

void send(DBusConnection* bus, DBusMessage* message) {
  dbus_connection_send(bus, message, nullptr);
  dbus_connection_flush(bus);
  dbus_message_unref(message);
}

void give_handle(const Desktop::Call& call) {
  auto* reply = dbus_message_new_method_return(call.message);
  const char* handle = call.handle.c_str();
  dbus_message_append_args(reply, DBUS_TYPE_OBJECT_PATH, &handle, DBUS_TYPE_INVALID);
  send(call.bus, reply);
}

Desktop::Play answer(unsigned response, std::vector<std::string> uris) {
  return [response, uris = std::move(uris)](const Desktop::Call& call) {
    give_handle(call);
    auto* signal = dbus_message_new_signal(call.handle.c_str(), "org.freedesktop.portal.Request", "Response");
    DBusMessageIter it, dict, entry, variant, list;
    dbus_message_iter_init_append(signal, &it);
    const dbus_uint32_t code = response;
    dbus_message_iter_append_basic(&it, DBUS_TYPE_UINT32, &code);
    dbus_message_iter_open_container(&it, DBUS_TYPE_ARRAY, "{sv}", &dict);
    dbus_message_iter_open_container(&dict, DBUS_TYPE_DICT_ENTRY, nullptr, &entry);
    const char* key = "uris";
    dbus_message_iter_append_basic(&entry, DBUS_TYPE_STRING, &key);
    dbus_message_iter_open_container(&entry, DBUS_TYPE_VARIANT, "as", &variant);
    dbus_message_iter_open_container(&variant, DBUS_TYPE_ARRAY, "s", &list);
    for (const auto& uri : uris) {
      const char* text = uri.c_str();
      dbus_message_iter_append_basic(&list, DBUS_TYPE_STRING, &text);
    }
    dbus_message_iter_close_container(&variant, &list);
    dbus_message_iter_close_container(&entry, &variant);
    dbus_message_iter_close_container(&dict, &entry);
    dbus_message_iter_close_container(&it, &dict);
    send(call.bus, signal);
  };
}

}  // namespace

Desktop::Play chosen(std::vector<std::string> uris) { return answer(0, std::move(uris)); }
Desktop::Play ended_with(unsigned response) { return answer(response, {}); }
Desktop::Play never() { return give_handle; }
Desktop::Play refused() {
  return [](const Desktop::Call& call) { send(call.bus, dbus_message_new_error(call.message, DBUS_ERROR_UNKNOWN_METHOD, "no such interface")); };
}

Desktop::Desktop(Play play) : play_(std::move(play)) {
  write_file_whole(folder_ / "bus.conf", "<!DOCTYPE busconfig PUBLIC \"-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN\" \"http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd\">\n"
                                         "<busconfig><type>session</type><listen>unix:path=" + (folder_ / "bus").string() + "</listen>"
                                         "<policy context=\"default\"><allow send_destination=\"*\" eavesdrop=\"true\"/><allow eavesdrop=\"true\"/><allow own=\"*\"/></policy></busconfig>\n");
  int pipe[2];
  if (::pipe2(pipe, O_CLOEXEC) != 0) throw std::runtime_error("pipe failed");
  daemon_ = start({"dbus-daemon", "--config-file=" + (folder_ / "bus.conf").string(), "--nofork", "--nopidfile", "--print-address=" + std::to_string(pipe[1])}, {}, folder_ / "bus.txt", pipe[1]);
  ::close(pipe[1]);
  pollfd ready{pipe[0], POLLIN, 0};
  for (char c; address_.find('\n') == std::string::npos && ::poll(&ready, 1, 20000) == 1 && ::read(pipe[0], &c, 1) == 1;) address_ += c;
  ::close(pipe[0]);
  if (address_.find('\n') != std::string::npos) {
    address_.erase(address_.find('\n'));
    bus_ = dbus_connection_open_private(address_.c_str(), nullptr);
  }
  if (!bus_ || !dbus_bus_register(bus_, nullptr) || dbus_bus_request_name(bus_, kPortal, 0, nullptr) != DBUS_REQUEST_NAME_REPLY_PRIMARY_OWNER) {
    stop(daemon_);
    throw std::runtime_error("the test's session bus did not start: " + read_file(folder_ / "bus.txt"));
  }
  dbus_connection_set_exit_on_disconnect(bus_, false);
  environment_ = std::make_unique<Environment>(std::map<std::string, std::string>{{"DBUS_SESSION_BUS_ADDRESS", address_}, {"PATH", "/nonexistent"}});
  portal_ = std::thread([this] { serve(); });
}

Desktop::~Desktop() {
  stopping_ = true;
  portal_.join();
  stop(daemon_);
}

void Desktop::serve() {
  int calls = 0;
  while (!stopping_ && dbus_connection_read_write(bus_, 10))
    while (auto* m = dbus_connection_pop_message(bus_)) {
      if (dbus_message_has_interface(m, "org.freedesktop.portal.FileChooser")) {
        const Call call{bus_, m, "/org/freedesktop/portal/desktop/request/test/" + std::to_string(++calls)};
        {
          std::lock_guard lock(mutex_);
          asked_.push_back(read(m));
        }
        play_(call);
      } else if (dbus_message_is_method_call(m, "org.freedesktop.portal.Request", "Close")) {
        std::lock_guard lock(mutex_);
        closed_.emplace_back(dbus_message_get_path(m));
      }
      dbus_message_unref(m);
    }
  dbus_connection_close(bus_);
  dbus_connection_unref(bus_);
}

std::vector<Asked> Desktop::asked() const {
  std::lock_guard lock(mutex_);
  return asked_;
}

std::vector<std::string> Desktop::closed() const {
  std::lock_guard lock(mutex_);
  return closed_;
}

}  // namespace uroko::testing
