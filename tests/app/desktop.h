#pragma once
#include <dbus/dbus.h>

#include <atomic>
#include <functional>
#include <map>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include "support/environment.h"
#include "support/screen.h"
#include "support/temp_folder.h"

namespace uroko::testing {

/// What the program asked the portal for, as it came over the bus.
struct Asked {
  std::string method, title;
  std::map<std::string, std::string> texts;  ///< options that are strings or bytes (those with their final zero)
  std::map<std::string, bool> flags;
  std::string filter;                 ///< name of the first filter
  std::vector<std::string> patterns;  ///< its patterns
};

/// A session bus of its own (dbus-daemon, no service files) with the desktop's portal on it, played by the test: org.freedesktop.portal.FileChooser
/// with org.freedesktop.portal.Request (flatpak.github.io/xdg-desktop-portal). PATH has no dialog programs meanwhile.
class Desktop {
 public:
  struct Call {
    DBusConnection* bus;
    DBusMessage* message;
    std::string handle;
  };
  using Play = std::function<void(const Call&)>;  ///< on the portal's thread: the dialog is open
  static std::string missing() { return program_is_installed("dbus-daemon") ? "" : "dbus-daemon is not installed"; }

  explicit Desktop(Play play);
  Desktop(const Desktop&) = delete;
  Desktop& operator=(const Desktop&) = delete;
  ~Desktop();

  std::vector<Asked> asked() const;
  std::vector<std::string> closed() const;  ///< handles of the dialogs that were called off
  void leave() { stopping_ = true; }        ///< the portal crashes

 private:
  void serve();
  TempFolder folder_;
  pid_t daemon_ = 0;
  std::string address_;
  Play play_;
  DBusConnection* bus_ = nullptr;
  mutable std::mutex mutex_;
  std::vector<Asked> asked_;
  std::vector<std::string> closed_;
  std::atomic<bool> stopping_{false};
  std::thread portal_;
  std::unique_ptr<Environment> environment_;
};

// What a portal answers with: the signal Response (u response, a{sv} results).
Desktop::Play chosen(std::vector<std::string> uris);
Desktop::Play ended_with(unsigned response);
Desktop::Play never();
Desktop::Play refused();  ///< has no file chooser

}  // namespace uroko::testing
