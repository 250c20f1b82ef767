#pragma once
#include <cstdlib>
#include <map>
#include <optional>
#include <string>

namespace uroko::testing {

/// Variables of this process's environment as given, for as long as it lives. To be made before any thread is started.
class Environment {
 public:
  explicit Environment(const std::map<std::string, std::string>& variables) {
    for (const auto& [name, value] : variables) {
      const char* was = std::getenv(name.c_str());
      before_[name] = was ? std::optional<std::string>(was) : std::nullopt;
      ::setenv(name.c_str(), value.c_str(), 1);
    }
  }
  Environment(const Environment&) = delete;
  Environment& operator=(const Environment&) = delete;
  ~Environment() {
    for (const auto& [name, value] : before_) value ? ::setenv(name.c_str(), value->c_str(), 1) : ::unsetenv(name.c_str());
  }

  /// Neither a desktop portal nor a dialog program: what a bare desktop or a remote session has.
  static std::map<std::string, std::string> no_dialogs() { return {{"PATH", "/nonexistent"}, {"DBUS_SESSION_BUS_ADDRESS", "unix:path=/nonexistent"}}; }

 private:
  std::map<std::string, std::optional<std::string>> before_;
};

}  // namespace uroko::testing
