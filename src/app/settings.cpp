#include "uroko/app/settings.h"

#include <algorithm>
#include <cstdlib>
#include <nlohmann/json.hpp>

#include "uroko/base/error.h"
#include "uroko/base/file.h"
#include "uroko/base/json.h"

namespace uroko::app {

namespace fs = std::filesystem;

namespace {

constexpr std::size_t kRecentBooks = 8;

fs::path home() {
  const char* value = std::getenv("HOME");
  return value && *value ? fs::path(value) : fs::current_path();
}

fs::path xdg(const char* variable, const char* below_home) {
  const char* value = std::getenv(variable);
  const fs::path base = value && fs::path(value).is_absolute() ? fs::path(value) : home() / below_home;
  return base / "uroko";
}

}  // namespace

void Settings::remember_book(const fs::path& book) {
  last_book = book;
  std::erase(recent_books, book);
  recent_books.insert(recent_books.begin(), book);
  if (recent_books.size() > kRecentBooks) recent_books.resize(kRecentBooks);
}

fs::path config_folder() { return xdg("XDG_CONFIG_HOME", ".config"); }
fs::path state_folder() { return xdg("XDG_STATE_HOME", ".local/state"); }
fs::path default_book() { return home() / "Koi.uroko"; }

Settings load_settings(const fs::path& file) {
  Settings s;
  std::error_code ignored;
  if (!fs::exists(file, ignored)) return s;
  try {
    const auto json = nlohmann::json::parse(read_file(file, 1 << 20));
    const auto path = [&](const char* key) { return fs::path(json.value(key, std::string())); };
    if (json.contains("scale_percent")) s.scale_percent = whole_number(json["scale_percent"], -1, 300);
    if (s.scale_percent != 0) s.scale_percent = std::max(s.scale_percent, 75);
    s.theme = json.value("theme", std::string("light")) == "dark" ? Theme::dark : Theme::light;
    s.degree_day_base_c = std::clamp(json.value("degree_day_base_c", 0.0), -5.0, 20.0);
    s.print_scale = std::clamp(json.value("print_scale", 1.0), 0.5, 2.0);
    s.last_book = path("last_book");
    s.last_folder = path("last_folder");
    s.watched_folder = path("watched_folder");
    s.tour_seen = json.value("tour_seen", false);
    for (const auto& book : json.value("recent_books", std::vector<std::string>())) s.recent_books.emplace_back(book);
    if (s.recent_books.size() > kRecentBooks) s.recent_books.resize(kRecentBooks);
  } catch (const std::exception&) {
    return Settings{};  // settings are a convenience: damaged ones must not keep the window shut
  }
  return s;
}

std::string settings_json(const Settings& s) {
  nlohmann::json json = {{"scale_percent", s.scale_percent},
                         {"theme", s.theme == Theme::dark ? "dark" : "light"},
                         {"degree_day_base_c", s.degree_day_base_c},
                         {"print_scale", s.print_scale},
                         {"last_book", s.last_book.string()},
                         {"last_folder", s.last_folder.string()},
                         {"watched_folder", s.watched_folder.string()},
                         {"tour_seen", s.tour_seen}};
  for (const auto& book : s.recent_books) json["recent_books"].push_back(book.string());
  return json.dump(1, ' ', false, nlohmann::json::error_handler_t::replace) + "\n";
}

void save_settings(const Settings& s, const fs::path& file) {
  std::error_code error;
  fs::create_directories(file.parent_path(), error);
  if (error) throw Error(Fault::input, "not-written", file.parent_path(), "the settings folder could not be made: " + error.message(), "check that your home folder is writable");
  write_file_whole(file, settings_json(s));
}

}  // namespace uroko::app
