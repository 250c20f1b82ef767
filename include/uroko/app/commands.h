#pragma once
#include <functional>
#include <string>
#include <string_view>
#include <vector>

namespace uroko::app {

class Session;

/// A key as the character it types (layout's own), or "Enter", "Escape", "Delete", "Left", "PageUp", "F1", ...
struct KeyPress {
  std::string key;
  bool ctrl = false, shift = false, alt = false;
  /// "Ctrl+Shift+Z". Shift is left out for characters that are not letters: "+" is "+" on every layout.
  std::string text() const;
};

/// Everything the window can do. `key` may be empty only when the command is reached by typing its name.
struct Command {
  std::string id;     ///< "margin.undo"
  std::string label;  ///< "Undo"
  std::string group;  ///< "Margin", "Photo", ...
  std::vector<std::string> keys;
  std::string tip;
  std::function<bool(const Session&)> enabled;
  std::function<void(Session&)> run;
};

const std::vector<Command>& commands();
const Command* command(std::string_view id);
const Command* command_for(const Session& session, const KeyPress& key);
/// By words of label, group and tip, best first; all of them for an empty text.
std::vector<const Command*> matching_commands(std::string_view text);

}  // namespace uroko::app
